import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import { isAboutTheNumber } from '../../domain/replies/decide.ts'
import type { Meaning, Reading } from '../../domain/replies/reading.ts'
import { loadConversation, type Done, type Conversation } from './conversation.ts'
import { type VisitContext } from '../visit-context.ts'
import { followPatient } from '../patients/follow-patient.ts'
import { orNotFound } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import { supersedeOffer } from '../visits/move-visit.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'
import { replyForNumber } from './reply-for-number.ts'
import { replyForVisit } from './reply-for-visit.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'

/** How a person reads a reply. */
export interface Correction {
  meaning: Meaning
  /** With `period-started` the first day, with `bleeding-ended` the last. */
  date?: string | undefined
  choice?: number | undefined
  /** Needed where she has several visits and the reply was about none in particular. */
  bookingId?: string | undefined
  by: string
}

/**
 * A person reads a reply otherwise than Daysix did: what followed from it is taken back as far as it can be, and what follows
 * from the right meaning is done. What was said to her stays said.
 * @throws not-found; too-late when the visit has moved by it, or is over; bad-input
 */
export async function correctReading(deps: Deps, replyId: string, correction: Correction): Promise<void> {
  await deps.store.transact(async (tx) => {
    const reply = orNotFound(await tx.replies.get(replyId), 'reply')
    refuseIrreversible(reply, correction)
    await closeWhatItOpened(tx, deps, reply, correction.by)
    const before = await loadConversation(tx, deps, reply)
    await takeBack(tx, deps, before, reply)
    // Looked at anew: what was taken back has changed the records.
    const done = await redo(tx, deps, await loadConversation(tx, deps, reply), reply, correction)
    const corrected = { by: correction.by, at: deps.clock.now().toISOString(), from: reply.corrected?.from ?? reply.reading?.meaning ?? 'unclear' } as const
    await tx.replies.update({ ...withoutCycle(reply), ...done, reading: readingOf(correction), corrected })
    await noteEvent(tx, deps, done.bookingId, 'reading-corrected', correction.by, { reply: replyId, from: corrected.from, to: correction.meaning })
  })
  await enqueueDue(deps)
  deps.notice('reading-corrected', { reply: replyId })
}

function readingOf({ meaning, date, choice }: Correction): Reading {
  return {
    meaning,
    confidence: 1,
    words: [],
    ...(date && meaning === 'period-started' && { startedOn: date }),
    ...(date && meaning === 'bleeding-ended' && { endedOn: date }),
    ...(choice !== undefined && meaning === 'choice' && { choice }),
  }
}

function withoutCycle({ cycleBefore: _used, ...reply }: ReplyRecord): ReplyRecord {
  return reply
}

function refuseIrreversible({ reading, done, text }: ReplyRecord, { meaning }: Correction): void {
  if (done === 'moved') throw new Failure('too-late', { message: 'The visit has moved by this reply. Move it back on the page of the visit.' })
  // A plain STOP is a wish that only she can take back, whatever anybody thinks she meant.
  const plainStop = reading?.meaning === 'stop' && !/\s/.test(text.trim())
  if (plainStop && meaning !== 'stop') badInput('meaning', 'She wrote STOP. Only she can take that back, by writing START.')
}

/** Follow-ups that carry her words and wait for somebody to read them: somebody has. */
async function closeWhatItOpened(tx: Tx, deps: Deps, { bookingId, text }: ReplyRecord, by: string): Promise<void> {
  if (bookingId === null) return
  for (const each of await tx.followUps.list({ bookingId, open: true, limit: 100 })) {
    if (each.detail.words === text) await tx.followUps.close(each.id, by, 'meaning corrected', deps.clock.now())
  }
}

async function takeBack(tx: Tx, deps: Deps, before: Conversation, reply: ReplyRecord): Promise<void> {
  const { visits: talks } = before
  await liftSilence(tx, deps, before, reply)
  const talk = talks.find(({ booking }) => booking.id === reply.bookingId)
  if (!talk) return
  await supersedeOffer(tx, talk.booking.id)
  await tx.bookings.update(unmarked(talk.booking, reply))
  if (reply.cycleBefore) await tx.patients.update(talk.patient.id, { cycle: reply.cycleBefore })
  for (const each of talks.filter(({ patient }) => patient.id === talk.patient.id)) await planAnew(tx, deps, each)
}

const SILENCES: ReadonlySet<Meaning> = new Set(['stop', 'wrong-person'])

/** Ends what this very reply began: never a wish that was told before it, or again after it. */
async function liftSilence(tx: Tx, deps: Deps, { everybody, patients }: Conversation, reply: ReplyRecord): Promise<void> {
  const meaning = reply.reading?.meaning
  if (meaning === undefined || !(SILENCES.has(meaning) || meaning === 'died')) return
  const since = await tx.replies.fromPhone(reply.phone, reply.receivedAt)
  const others = since.filter(({ id }) => id !== reply.id).map(({ reading }) => reading?.meaning)
  if (meaning === 'died') {
    if (!others.includes('died')) await liftDeath(tx, deps, patients)
    return
  }
  const optOut = await tx.optOuts.get(reply.phone)
  const isOurs = optOut !== undefined && optOut.at >= reply.receivedAt
  if (!isOurs || others.some((other) => other !== undefined && SILENCES.has(other))) return
  await tx.optOuts.remove(reply.phone)
  for (const { id } of everybody) await followPatient(tx, deps, id)
}

async function liftDeath(tx: Tx, deps: Deps, patients: readonly Patient[]): Promise<void> {
  for (const { id } of patients) {
    await tx.patients.update(id, { reportedDead: false })
    await followPatient(tx, deps, id)
  }
}

function unmarked(booking: Booking, { reading, text }: ReplyRecord): Booking {
  if (reading?.meaning === 'confirm') return { ...booking, confirmedAt: null }
  if (reading?.meaning === 'prep-lapse') return { ...booking, lapses: booking.lapses.filter((words) => words !== text.slice(0, 300)) }
  return booking
}

async function planAnew(tx: Tx, deps: Deps, { booking, clinic }: VisitContext): Promise<void> {
  const current = orNotFound(await tx.bookings.get(booking.id), 'booking')
  await makePlan(tx, deps, { booking: current, patient: orNotFound(await tx.patients.get(booking.patientId), 'patient'), clinic })
}

async function redo(tx: Tx, deps: Deps, hearing: Conversation, reply: ReplyRecord, correction: Correction): Promise<Done> {
  const reading = readingOf(correction)
  if (isAboutTheNumber(reading.meaning)) return replyForNumber(tx, deps, hearing, reading)
  const talk = talkOf(hearing, correction.bookingId ?? reply.bookingId)
  const done = await replyForVisit(tx, deps, hearing, talk, reading)
  return done
}

function talkOf({ visits: talks }: Conversation, bookingId: string | null): VisitContext {
  const [only] = talks
  if (bookingId === null && talks.length > 1) return badInput('visit', 'She has more than one visit. Say which one she means.')
  const talk = bookingId === null ? only : talks.find(({ booking }) => booking.id === bookingId)
  if (!talk) throw new Failure('too-late', { message: 'The visit that this reply was about is over or cancelled.' })
  return talk
}
