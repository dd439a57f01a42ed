import type { Reading } from '../../domain/replies/reading.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import type { Note } from '../ports/traces.ts'
import { becauseOf, loadConversation, type Conversation, type Done } from './conversation.ts'
import { holdRefusal } from './hold-refusal.ts'

/** One way in for what a patient says: how it is understood, and what is done about it. */
export interface WayIn<T> {
  /** What it means by all that is known now. Changes nothing. */
  read(tx: Tx, hearing: Conversation): Promise<Reading> | Reading
  act(tx: Tx, hearing: Conversation, reading: Reading): Promise<Acted<T>>
}

/** What came of acting on a reply, with what its way in wants to know. */
export interface Acted<T> {
  done: Done
  result: T
}

/** Two writers may get in each other's way once. */
const TRIES = 2

/**
 * The one way in for what a patient says, by text, page or key. It is kept first, in a transaction of its own; then it
 * is acted on. Where that fails, the words stay and a person is told to read them. The same words told again are acted
 * on once.
 *
 * @returns what acting gave; `known` when it had been done before; `failed` when a person must see to it
 * @throws only while nothing can be stored at all: then whoever told it should tell it again
 */
export async function takeReply<T>(
  deps: Deps,
  said: ReplyRecord,
  way: WayIn<T>,
): Promise<Acted<T> | 'known' | 'failed'> {
  const kept = await deps.store.transact((tx) => tx.replies.keep(said))
  if (kept.done !== null) return 'known'
  return actOnReply(deps, kept.id, way)
}

/** As `takeReply`, for a reply that has been kept and not yet acted on. */
export function actOnReply<T>(deps: Deps, id: string, way: WayIn<T>): Promise<Acted<T> | 'known' | 'failed'> {
  return deps.traces.span('take reply', { reply: id }, async (note) => {
    const acted = await actOrLeave(deps, id, way, note)
    if (acted === 'known') note({ idle: true })
    else if (acted === 'failed') note({ outcome: 'failed', error: 'reply-failed' })
    else note({ booking: acted.done.bookingId, outcome: acted.done.done })
    return acted
  })
}

async function actOrLeave<T>(deps: Deps, id: string, way: WayIn<T>, note: Note) {
  for (let tries = 1; ; tries++) {
    try {
      const acted = await deps.store.transact((tx) => actOnce(tx, deps, id, way, note))
      if (acted !== 'known') tellHeard(deps, id, acted.done)
      return acted
    } catch (error) {
      if (tries < TRIES) continue
      await leaveToPerson(deps, id, (tx, hearing) => way.read(tx, hearing), error)
      return 'failed' as const
    }
  }
}

async function actOnce<T>(tx: Tx, deps: Deps, id: string, way: WayIn<T>, note: Note): Promise<Acted<T> | 'known'> {
  const kept = await tx.replies.lock(id)
  // Told twice at once, or erased meanwhile.
  if (!kept || kept.done !== null) return 'known'
  const hearing = await loadConversation(tx, deps, kept)
  const reading = await way.read(tx, hearing)
  note({ gateway: kept.gateway, sureness: surenessOf(reading) })
  const acted = await way.act(tx, hearing, reading)
  await tx.replies.update({ ...hearing.reply, reading, ...acted.done })
  return acted
}

/** How sure it was of what was meant, roughly. */
function surenessOf({ confidence }: Reading): 'high' | 'middle' | 'low' {
  if (confidence >= 0.8) return 'high'
  return confidence >= 0.5 ? 'middle' : 'low'
}

function tellHeard(deps: Deps, id: string, { bookingId }: Done): void {
  deps.notice('reply-heard', { reply: id, ...(bookingId && { booking: bookingId }) })
}

/**
 * The words are kept, and nothing has followed from them: somebody must read them. A refusal, a death and an alarm hold
 * all the same.
 */
export async function leaveToPerson(
  deps: Deps,
  id: string,
  read: WayIn<unknown>['read'],
  error?: unknown,
): Promise<void> {
  const left = await deps.store.transact(async (tx) => {
    const kept = await tx.replies.lock(id)
    if (!kept || kept.done !== null) return false
    const hearing = await loadConversation(tx, deps, kept)
    const reading = await readIfPossible(() => read(tx, hearing))
    const did = reading ? await holdRefusal(tx, deps, hearing, reading) : undefined
    await tx.replies.update({ ...hearing.reply, reading, did, done: 'failed' })
    await callAbout(tx, deps, hearing)
    return true
  })
  if (left) deps.notice('reply-failed', { reply: id, ...codeOf(error) })
}

/** Reading may be the very thing that fails. */
async function readIfPossible(read: () => Promise<Reading> | Reading): Promise<Reading | null> {
  try {
    return await read()
  } catch {
    return null
  }
}

/** About the visit or the patient, as far as that can be told without guessing. */
async function callAbout(tx: Tx, deps: Deps, { reply, clinic, patients, visits }: Conversation): Promise<void> {
  const visit = visits.find(({ booking }) => booking.id === reply.bookingId)
  const patient = visit?.patient ?? (patients.length === 1 ? patients[0]! : null)
  const about = { clinic, patient, booking: visit?.booking ?? null, phone: reply.phone }
  await openFollowUp(tx, deps, about, 'unclear-reply', becauseOf(reply))
}

/** Never an error's words: they may hold a patient's. */
function codeOf(error: unknown): { code?: string } {
  const code = error instanceof Error && 'code' in error ? error.code : undefined
  return typeof code === 'string' ? { code } : {}
}
