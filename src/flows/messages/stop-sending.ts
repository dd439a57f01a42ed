import { Failure, badInput } from '../../domain/failure.ts'
import type { SendingStop } from '../ports/access.ts'
import { followUpIfImportant } from './leave-to-person.ts'
import { orNotFound, subjectOf } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'
import { requeueAll } from './sweep.ts'

/** Everybody, where a clinic's id would stand. No clinic has this id. */
export const REGION = 'region'

/** Who threw the switch: for the record, and for whoever reads it. */
export interface Hand {
  kind: string
  id: string
  /** Role, name or initials, shown on the pages. */
  by: string
}

/**
 * Nothing leaves any more, of one clinic or of everybody, until it is resumed. What is under way at the gateways cannot
 * be called back. Plans go on being made; whatever becomes worthless meanwhile goes on the call list, as it always
 * does.
 * @throws bad-input, not-found, too-late when it is stopped already
 */
export async function stopSending(deps: Deps, scope: string, why: string, hand: Hand): Promise<SendingStop> {
  await refuseUnknown(deps, scope)
  if (why.trim() === '') badInput('why', 'Say why, for whoever resumes it.')
  const stop: SendingStop = { scope, at: deps.clock.now(), by: hand.by, why: why.trim() }
  await deps.access.transact(async (tx) => {
    if (!(await tx.sendingStops.put(stop))) throw new Failure('too-late', { message: 'Sending is stopped already.' })
    await tx.audit.append([entryOf(deps, scope, hand, 'sending-stopped', {})])
  })
  deps.notice('sending-stopped', {})
  return stop
}

/**
 * `send`: what is still worth it goes out late. `call`: what was due meanwhile is not sent; a person makes up for it.
 */
export type Backlog = 'send' | 'call'

/**
 * Sending goes on.
 * @returns how many messages that were due meanwhile are not sent any more. @throws not-found, too-late when it is not
 *   stopped
 */
export async function resumeSending(deps: Deps, scope: string, backlog: Backlog, hand: Hand): Promise<number> {
  await refuseUnknown(deps, scope)
  const stopped = (await deps.access.read.sendingStops.list()).some((each) => each.scope === scope)
  if (!stopped) throw new Failure('too-late', { message: 'Sending is not stopped.' })
  const dropped = backlog === 'call' ? await dropDue(deps, scope, { state: 'withdrawn', code: 'sending-stopped' }) : 0
  await deps.access.transact(async (tx) => {
    await tx.sendingStops.remove(scope)
    await tx.audit.append([entryOf(deps, scope, hand, 'sending-resumed', { backlog, dropped })])
  })
  await requeueAll(deps)
  deps.notice('sending-resumed', {})
  return dropped
}

async function refuseUnknown(deps: Deps, scope: string): Promise<void> {
  if (scope !== REGION) orNotFound(await deps.store.read.clinics.get(scope), 'clinic')
}

function entryOf({ clock }: Deps, scope: string, { kind, id }: Hand, what: string, facts: Record<string, unknown>) {
  return {
    at: clock.now(),
    actorKind: kind,
    actorId: id,
    what,
    subjects: [],
    clinicId: scope === REGION ? null : scope,
    facts,
  }
}

const BATCH = 500

/**
 * What is due by now is not sent any more; what mattered goes on the call list.
 * @param scope a clinic, or everybody
 * @returns how many messages that were
 */
export async function dropDue(
  deps: Deps,
  scope: string,
  { state, code }: { state: 'withdrawn' | 'undelivered'; code: string },
): Promise<number> {
  const now = deps.clock.now()
  let dropped = 0
  for (;;) {
    const due = await deps.store.read.dispatch.dueIn(scope === REGION ? null : scope, now, BATCH)
    for (const message of due) {
      await deps.store.transact(async (tx) => {
        if (!(await tx.messages.move(message.id, [message.state], state, { code, endedAt: now }))) return
        await followUpIfImportant(tx, deps, message, await subjectOf(tx, message))
      })
    }
    dropped += due.length
    if (due.length < BATCH) return dropped
  }
}
