import { homeZone } from '../../domain/patients/home-zone.ts'
import { UNSENT, type Message } from '../../domain/messages/message.ts'
import { isElsewhere } from '../../domain/messages/still-right.ts'
import { withinCaps } from '../../domain/preparation/caps.ts'
import { mayRing, nextAllowed } from '../../domain/preparation/sending-hours.ts'
import { inZone } from '../../domain/local-time.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { Outgoing, Turn } from '../ports/gateway.ts'
import type { Deps, DispatchContext, Tx } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'
import { idsOf } from './new-message.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import type { Place, PlaceTurn } from './waiting-line.ts'
import { contextOf, type MessageContext } from './message-context.ts'
import { leaveUnsent, lossOf } from './leave-to-person.ts'
import { refusalOf, SUPERSEDED, type Refusal } from './refusal.ts'
import { renderMessage } from './render-message.ts'
import { takeTurns } from './take-turns.ts'

const WEEK_MS = 7 * 86_400_000
/** A call is over in a minute or so; nothing tells those who wait for it. */
const LINE_BUSY_MS = 60_000

/** A message that is ours to send now, with the words. */
export interface Claimed {
  message: Message
  outgoing: Outgoing
  /** At its gateway, where that gives turns. Whoever hands the message over gives it back. */
  turn?: PlaceTurn
}

/** What a transaction takes before it is committed, to be let go when it fails. */
export interface Taken {
  /** Of attempts that this process holds. */
  keys: string[]
  turns: Turn[]
}

/** A job that is due, with the turn at a gateway that was waited for. */
export interface JobWithTurn extends SendJob {
  turn?: PlaceTurn
}

/**
 * What came of one job. `wait`: it must have a turn there first. `later`: it must be enqueued again,
 * for that time. `outdated`: it waits, but the patient is reached otherwise by now: see
 * `renewOutdated`.
 */
export type Claim =
  | { kind: 'go'; claimed: Claimed }
  | { kind: 'wait'; place: Place }
  | { kind: 'later'; job: SendJob }
  | { kind: 'outdated'; message: Message }
  | { kind: 'nothing' }

/**
 * How an attempt is held: the message alone would not do, since the next attempt may begin before the last is let go.
 */
export const attemptKey = ({ id, attempt }: Pick<Message, 'id' | 'attempt'>): string => `${id} ${attempt}`
const nextAttemptKey = ({ id, attempt }: Message): string => attemptKey({ id, attempt: attempt + 1 })

/**
 * Decides about many messages in one transaction, and claims those that may go. Everything is checked again here: time
 * has passed since the plan was made. Nothing is claimed that could not be handed over at once.
 *
 * @param taken filled with what is taken, before anything is claimed.
 * @returns a claim for each job, in order.
 */
export async function claimDue(tx: Tx, deps: Deps, jobs: readonly JobWithTurn[], taken: Taken): Promise<Claim[]> {
  const now = deps.clock.now()
  // Two jobs may come for one message at once, the first and a repeated one: it goes to one of them.
  const first = new Map([...jobs].reverse().map((job) => [job.messageId, job]))
  const due = await tx.dispatch.due([...first.values()], now)
  const turns = takeTurns(deps, due, ({ id }) => first.get(id)!.turn, taken.turns)
  const messages = due.filter(({ id }) => turns.has(id))
  const found = await tx.dispatch.context(messages, new Date(now.getTime() - WEEK_MS), now)
  // Those that go together must not forget each other.
  const known = { ...found, lately: [...found.lately], calling: new Map(found.calling) }
  const claims = new Map<string, Claim>()
  for (const { id, gateway, channel } of due)
    if (!turns.has(id)) claims.set(id, { kind: 'wait', place: { gateway, channel } })
  for (const message of messages) {
    const claim = await claimOne(tx, deps, message, contextOf(message, known), known)
    const turn = turns.get(message.id)
    // What does not go after all leaves its turn to another.
    if (claim.kind !== 'go') turn?.turn.release()
    else if (turn) claim.claimed.turn = turn
    if (claim.kind === 'go' && message.unsolicited) known.lately.push({ phone: message.phone, id: message.id, at: now })
    if (claim.kind === 'go' && message.channel === 'voice') known.calling.set(message.phone, message.id)
    claims.set(message.id, claim)
  }
  const going = [...claims.values()].flatMap((claim) => (claim.kind === 'go' ? [claim.claimed] : []))
  taken.keys.push(...going.map(({ message }) => nextAttemptKey(message)))
  await hold(tx, deps, going)
  return jobs.map((job) => (first.get(job.messageId) === job && claims.get(job.messageId)) || { kind: 'nothing' })
}

async function hold(tx: Tx, deps: Deps, going: readonly Claimed[]): Promise<void> {
  if (going.length === 0) return
  // Held before the claim is committed: what is claimed by this process and not held was never sent.
  for (const { message } of going) deps.worker.inFlight.add(nextAttemptKey(message))
  void tx.workers.ensure(deps.worker.id)
  const written = going.map(({ message, outgoing }) => ({ message, text: outgoing.text }))
  const claimedAt = deps.clock.now()
  void tx.dispatch.claim(written, deps.worker.id, claimedAt)
  for (const { message } of going) Object.assign(message, { attempt: message.attempt + 1, claimedAt })
}

async function claimOne(
  tx: Tx,
  deps: Deps,
  message: Message,
  about: MessageContext,
  found: DispatchContext,
): Promise<Claim> {
  if (about.patient && isElsewhere(message, about.patient)) return { kind: 'outdated', message }
  const refusal = refusalOf(deps.clock.now(), message, about, found)
  if (refusal) return finish(tx, deps, message, about, refusal)
  const wait = deferUntil(deps.clock.now(), message, about, found)
  if (wait) return postpone(tx, deps, message, about, wait)
  const other = message.channel === 'voice' ? found.calling.get(message.phone) : undefined
  if (other !== undefined && other !== message.id) return afterThatCall(tx, deps, message, about)
  const { text, subject, state, voice } = renderMessage(deps, message, about)
  if (state === 'draft' && !deps.policy.allowDrafts)
    return finish(tx, deps, message, about, { state: 'failed', code: 'draft-text' })
  const { id, channel, language, notAfter } = message
  const to = channel === 'email' ? about.patient!.email! : message.phone
  const parts = { ...(subject !== undefined && { subject }), ...(voice && { voice }) }
  return {
    kind: 'go',
    claimed: { message, outgoing: { id, channel, to, text, language, notAfter, ...parts } },
  }
}

/** When it must wait for sending hours or for the next day's allowance; null = go now. */
function deferUntil(now: Date, message: Message, about: MessageContext, { lately }: DispatchContext): Date | null {
  if (message.prompted) return null
  const zone = homeZone(about)
  const { hours } = about.clinic.settings
  if (!mayRing(now, zone, hours)) return nextAllowed(now, zone, hours)
  // A fallback stands in for a message that counted already.
  if (!message.unsolicited || message.fallbackOf) return null
  const others = lately.filter(({ phone, id }) => phone === message.phone && id !== message.id).map(({ at }) => at)
  return withinCaps(now, others, zone)
    ? null
    : nextAllowed(inZone(now, zone).plus({ days: 1 }).startOf('day').toJSDate(), zone, hours)
}

async function postpone(tx: Tx, deps: Deps, message: Message, about: MessageContext, until: Date): Promise<Claim> {
  if (until >= message.notAfter) return finish(tx, deps, message, about, { state: 'expired', code: 'no-time-left' })
  const attempt = message.attempt + 1 // a new job, not the one that is under way
  await tx.messages.move(message.id, [message.state], 'queued', { sendAt: until, attempt })
  return { kind: 'later', job: { messageId: message.id, revision: message.revision, attempt, at: until } }
}

/**
 * Our own call would find the line busy with our own call. It is no attempt: nobody was called, and three calls in vain
 * end a message.
 */
async function afterThatCall(tx: Tx, deps: Deps, message: Message, about: MessageContext): Promise<Claim> {
  const at = new Date(deps.clock.now().getTime() + LINE_BUSY_MS)
  if (at >= message.notAfter) return finish(tx, deps, message, about, { state: 'expired', code: 'no-time-left' })
  await tx.messages.move(message.id, [message.state], 'queued', { sendAt: at })
  const { id: messageId, revision, attempt } = message
  return { kind: 'later', job: { messageId, revision, attempt, at, requeued: true } }
}

/** Ends a message that waits; what mattered is left to a person. */
export async function finish(
  tx: Tx,
  deps: Deps,
  message: Message,
  about: MessageContext,
  refusal: Refusal,
): Promise<Claim> {
  const { state, code } = refusal
  const facts = { code, endedAt: deps.clock.now() }
  if (!(await tx.messages.move(message.id, UNSENT, state, facts))) return { kind: 'nothing' }
  // Words that nobody approved will not get better with time: whatever was to be said, a person says it.
  const { kind } = message
  if (code === 'draft-text' && MESSAGE_KINDS[kind].afterStop !== 'last')
    await openFollowUp(tx, deps, about, lossOf(message), { kind })
  else if (code !== SUPERSEDED) await leaveUnsent(tx, deps, message, about, refusal)
  deps.notice(`message-${state}`, idsOf(message))
  return { kind: 'nothing' }
}
