import type { Done } from './conversation.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { openFollowUp, type FollowUpSubject } from '../calls/follow-ups.ts'

/** What came of acting on a reply, with what its way in wants to know. */
export interface Acted<T> {
  reply: ReplyRecord
  done: Done
  result: T
}

export type Act<T> = (tx: Tx, reply: ReplyRecord) => Promise<Acted<T>>

/** Two writers may get in each other's way once. */
const TRIES = 2

/**
 * The one way in for what a patient says, by text, page or key. It is kept first, in a transaction of its own; then it is
 * acted on. Where that fails, the words stay and a person is told to read them. The same words told again are acted on once.
 *
 * @returns what acting gave; `known` when it had been done before; `failed` when a person must see to it
 * @throws only while nothing can be stored at all: then whoever told it should tell it again
 */
export async function takeReply<T>(deps: Deps, said: ReplyRecord, act: Act<T>): Promise<Acted<T> | 'known' | 'failed'> {
  const kept = await deps.store.transact((tx) => tx.replies.keep(said))
  if (kept.done !== null) return 'known'
  return actOnReply(deps, kept.id, act)
}

/** As `takeReply`, for a reply that has been kept and not yet acted on. */
export async function actOnReply<T>(deps: Deps, id: string, act: Act<T>): Promise<Acted<T> | 'known' | 'failed'> {
  for (let tries = 1; ; tries++) {
    try {
      const acted = await deps.store.transact((tx) => actOnce(tx, id, act))
      if (acted !== 'known') tellHeard(deps, acted.reply.id, acted.done)
      return acted
    } catch (error) {
      if (tries < TRIES) continue
      await leaveToPerson(deps, id, error)
      return 'failed'
    }
  }
}

async function actOnce<T>(tx: Tx, id: string, act: Act<T>): Promise<Acted<T> | 'known'> {
  const reply = await tx.replies.lock(id)
  // Told twice at once, or erased meanwhile.
  if (!reply || reply.done !== null) return 'known'
  const acted = await act(tx, reply)
  await tx.replies.update({ ...acted.reply, ...acted.done })
  return acted
}

function tellHeard(deps: Deps, id: string, { bookingId }: Done): void {
  deps.notice('reply-heard', { reply: id, ...(bookingId && { booking: bookingId }) })
}

/** The words are kept, and nothing has followed from them: somebody must read them. */
export async function leaveToPerson(deps: Deps, id: string, error?: unknown): Promise<void> {
  const left = await deps.store.transact(async (tx) => {
    const reply = await tx.replies.lock(id)
    if (!reply || reply.done !== null) return false
    const about = await aboutReply(tx, reply)
    await tx.replies.update({ ...reply, clinicId: about.clinic?.id ?? null, done: 'failed' })
    await openFollowUp(tx, deps, { ...about, phone: reply.phone }, 'unclear-reply', { words: reply.text })
    return true
  })
  if (left) deps.notice('reply-failed', { reply: id, ...codeOf(error) })
}

/** Whom it is about, as far as that can be told without reading it. */
async function aboutReply(tx: Tx, { bookingId, clinicId, phone }: ReplyRecord): Promise<Omit<FollowUpSubject, 'phone'>> {
  const booking = (bookingId !== null && (await tx.bookings.get(bookingId))) || null
  const at = booking?.clinicId ?? clinicId
  const known = (await tx.patients.byPhone(phone)).filter((patient) => at === null || patient.clinicId === at)
  const patient = known.find(({ id }) => id === booking?.patientId) ?? (known.length === 1 ? known[0] : undefined) ?? null
  const clinic = at ?? patient?.clinicId
  return { booking, patient, clinic: (clinic && (await tx.clinics.get(clinic))) || null }
}

/** Never an error's words: they may hold a patient's. */
function codeOf(error: unknown): { code?: string } {
  const code = error instanceof Error && 'code' in error ? error.code : undefined
  return typeof code === 'string' ? { code } : {}
}
