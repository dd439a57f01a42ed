import { Failure, badInput } from '../../domain/failure.ts'
import { isAboutTheNumber, type Meaning, type Reading } from '../../domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import { orNotFound } from '../lookups.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import { noteEvent } from '../visits/note-event.ts'
import { loadConversation, type Conversation, type Done } from './conversation.ts'
import { leaveQuestion } from './pending-question.ts'
import { replyForNumber } from './reply-for-number.ts'
import { replyForVisit } from './reply-for-visit.ts'
import { reopenMatters, takeBack } from './take-back.ts'
import { nameVisit } from './which-visit.ts'

/** How a person reads a reply. */
export interface Correction {
  meaning: Meaning
  /** With `period-started` the first day, with `bleeding-ended` the last. */
  date?: string | undefined
  choice?: number | undefined
  /** Needed where the patient has several visits and the reply was about none in particular. */
  bookingId?: string | undefined
  by: string
}

/**
 * A person reads a reply otherwise than Daysix did: what followed from it is taken back, where nothing newer has
 * changed it since, and what follows from the right meaning is done. What was said to the patient stays said.
 * @throws not-found; too-late when the visit has moved by it, or is over, or the reply is not read yet; bad-input
 */
export async function correctReading(deps: Deps, replyId: string, correction: Correction): Promise<void> {
  await deps.store.transact(async (tx) => {
    const reply = await lockReply(tx, deps, replyId)
    const asked = await lockAsked(tx, reply)
    refuseIrreversible(reply, asked, correction)
    // Where a number named the visit of an earlier reply, it is that reply's effects that go.
    const undone = asked ? [reply, asked] : [reply]
    for (const each of undone) await takeBack(tx, deps, await conversationOf(tx, deps, each), each, correction.by)
    // Looked at anew: what was taken back has changed the records.
    const done = await redo(tx, deps, await conversationOf(tx, deps, reply), asked, correction)
    for (const each of undone) await reopenMatters(tx, deps, each)
    const corrected = {
      by: correction.by,
      at: deps.clock.now().toISOString(),
      from: reply.corrected?.from ?? reply.reading?.meaning ?? 'unclear',
    } as const
    await tx.replies.update({
      ...reply,
      ...NOTHING_DONE,
      ...done,
      reading: readingOf(correction, reply.reading),
      corrected,
    })
    await noteEvent(tx, deps, done.bookingId, 'reading-corrected', correction.by, {
      reply: replyId,
      from: corrected.from,
      to: correction.meaning,
    })
  })
  await enqueueDue(deps)
  deps.notice('reading-corrected', { reply: replyId })
}

const NOTHING_DONE = { did: undefined, asked: undefined, answers: undefined }

/** The visits are locked first, as by whoever acts on another reply about them. */
async function lockReply(tx: Tx, deps: Deps, id: string): Promise<ReplyRecord> {
  const found = orNotFound(await tx.replies.get(id), 'reply')
  if (found.done === null)
    throw new Failure('too-late', {
      message: 'This reply has just come in and is not read yet. Look again in a minute.',
    })
  const { reply } = await conversationOf(tx, deps, found)
  return { ...orNotFound(await tx.replies.lock(id), 'reply'), clinicId: reply.clinicId }
}

/** The earlier reply whose visit this one named, unless a person has read that one since. */
async function lockAsked(tx: Tx, { answers }: ReplyRecord): Promise<ReplyRecord | undefined> {
  const asked = answers === undefined ? undefined : await tx.replies.lock(answers)
  return asked?.corrected ? undefined : asked
}

/** With the patient whom the reply was about, also where that patient is reached at another number by now. */
async function conversationOf(tx: Tx, deps: Deps, reply: ReplyRecord): Promise<Conversation> {
  const booking = reply.bookingId === null ? undefined : await tx.bookings.get(reply.bookingId)
  return loadConversation(tx, deps, reply, booking?.patientId)
}

/** What a clinician was told stays where the meaning is the same, and only its day or number was wrong. */
function marksKept(before: Reading | null, meaning: Meaning): Partial<Reading> {
  if (before?.meaning !== meaning) return {}
  const { clinical, level, needs } = before
  return { ...(clinical && { clinical }), ...(level && { level }), ...(needs && { needs }) }
}

function readingOf({ meaning, date, choice }: Correction, before: Reading | null): Reading {
  const { carries } = REPLY_MEANINGS[meaning]
  return {
    meaning,
    confidence: 1,
    words: [],
    ...marksKept(before, meaning),
    ...(date && carries === 'startedOn' && { startedOn: date }),
    ...(date && carries === 'endedOn' && { endedOn: date }),
    ...(choice !== undefined && carries === 'choice' && { choice }),
  }
}

function refuseIrreversible(
  { reading, done, text }: ReplyRecord,
  asked: ReplyRecord | undefined,
  { meaning }: Correction,
): void {
  const hasMoved = done === 'moved' || asked?.done === 'moved'
  if (hasMoved)
    throw new Failure('too-late', {
      message: 'The visit has moved by this reply. Move it back on the page of the visit.',
    })
  // A plain STOP is a wish that only the patient can take back, whatever anybody thinks was meant.
  const isTheirs = reading && REPLY_MEANINGS[reading.meaning].takenBackBy === 'patient' && !/\s/.test(text.trim())
  if (isTheirs && meaning !== reading.meaning)
    badInput('meaning', 'The patient wrote STOP. Only the patient can take that back, by writing START.')
}

async function redo(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  asked: ReplyRecord | undefined,
  correction: Correction,
): Promise<Done> {
  const reading = readingOf(correction, hearing.reply.reading)
  const named = asked && (await nameVisit(tx, deps, { ...hearing, pendingQuestion: asked }, reading))
  if (named) return named
  // It named no visit after all: a person reads the words that waited for one.
  if (asked) await leaveQuestion(tx, deps, hearing, asked)
  if (isAboutTheNumber(reading.meaning)) return replyForNumber(tx, deps, hearing, reading)
  return replyForVisit(tx, deps, hearing, visitOf(hearing, correction.bookingId ?? hearing.reply.bookingId), reading)
}

function visitOf({ visits }: Conversation, bookingId: string | null): VisitContext {
  const [only] = visits
  if (bookingId === null && visits.length > 1)
    return badInput('visit', 'The patient has more than one visit. Say which one is meant.')
  const visit = bookingId === null ? only : visits.find(({ booking }) => booking.id === bookingId)
  if (!visit) throw new Failure('too-late', { message: 'The visit that this reply was about is over or cancelled.' })
  return visit
}
