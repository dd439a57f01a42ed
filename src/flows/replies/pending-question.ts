import { openFollowUp } from '../calls/follow-ups.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { becauseOf, loadConversation, nearest, type Conversation } from './conversation.ts'

/**
 * "Which visit do you mean?" waits for a number for a day, as `done` of the reply that it was asked about. It ends when
 * the number comes, when the desk reads that reply, or when something newer wants a number. Unanswered, its words are a
 * call.
 */
export const ASKED_WHICH = 'asked-which'

/** The visits that were put to the patient, in the order of their numbers, with their times as they were told. */
export function numberedVisits({ asked = [] }: ReplyRecord): { bookingId: string; at: Date }[] {
  return asked.map(({ bookingId, at }) => ({ bookingId, at: new Date(at) }))
}

/** Nobody is asked any more which visit this reply was about: a person reads it. */
export async function leaveQuestion(tx: Tx, deps: Deps, hearing: Conversation, asked: ReplyRecord): Promise<void> {
  await tx.replies.update({ ...asked, bookingId: null, done: 'unclear-reply', did: undefined })
  await openFollowUp(tx, deps, { ...nearest(hearing), booking: null }, 'unclear-reply', becauseOf(asked))
}

/** As `leaveQuestion`, for one that has waited too long; does nothing where it has been answered. */
export async function leaveUnanswered(deps: Deps, id: string): Promise<void> {
  const left = await deps.store.transact(async (tx) => {
    const reply = await tx.replies.get(id)
    if (!reply) return false
    // The visits are locked first, as by whoever names one of them.
    const hearing = await loadConversation(tx, deps, reply)
    const asked = await tx.replies.lock(id)
    if (asked?.done !== ASKED_WHICH) return false
    await leaveQuestion(tx, deps, hearing, asked)
    return true
  })
  if (left) deps.notice('question-expired', { reply: id })
}
