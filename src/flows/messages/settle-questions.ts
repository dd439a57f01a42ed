import { dateIn } from '../../domain/local-time.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { isWorthACall, toldSince } from '../../domain/preparation/cycle/unanswered.ts'
import { CHECK_DAYS } from '../../domain/preparation/cycle/question.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { loadVisit, protocolOf } from '../lookups.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { QUESTION_SETTLED } from '../ports/dispatch.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import type { VisitContext } from '../visit-context.ts'
import { noteEvent } from '../visits/note-event.ts'

const DAY_MS = 86_400_000

/** No question is put so long before its visit: an outage that lasts longer has nothing to ask about. */
const LONGEST_OUTAGE_DAYS = 14

/** Questions put within this interval have been waited for long enough. Each is looked at once, which is noted. */
export function answersDue(now: Date): { from: Date; to: Date } {
  const to = now.getTime() - CHECK_DAYS.toRepeat * DAY_MS
  return { from: new Date(to - LONGEST_OUTAGE_DAYS * DAY_MS), to: new Date(to) }
}

/**
 * The patient was asked whether a period has begun, once or twice, and has had time to answer. Whoever has not, and
 * might say what would move the visit, is called by the desk. Noted, so that each question is looked at once.
 */
export async function settleQuestion(deps: Deps, bookingId: string, askedAt: Date): Promise<void> {
  await deps.store.transact(async (tx) => {
    const about = await loadVisit(tx, await tx.bookings.lock(bookingId))
    const { booking, patient } = about
    const askedOn = dateIn(askedAt, booking.zone)
    const outcome = await outcomeOf(tx, deps, about, askedAt)
    await noteEvent(tx, deps, bookingId, QUESTION_SETTLED, 'daysix', { outcome })
    if (outcome !== 'call') return
    await openFollowUp(tx, deps, about, 'unanswered-check', { askedOn, lmp: patient.cycle.lmp ?? null })
  })
}

async function outcomeOf(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  askedAt: Date,
): Promise<'answered' | 'let-be' | 'call'> {
  const { booking, patient } = about
  const [visit, asOf, askedOn] = [booking.visitAt, deps.clock.now(), askedAt].map((at) => dateIn(at, booking.zone))
  const { cycle: history } = patient
  if (toldSince(history, askedOn!) || (await hasWritten(tx, patient, askedAt))) return 'answered'
  const protocol = protocolOf(deps, booking.protocol)
  const worthIt = isWorthACall({ history, visit: visit!, asOf: asOf!, protocol })
  // Of whoever may not be written to a person knows already.
  return worthIt && (await unreachableBy(tx, about, deps.clock.now())) === null ? 'call' : 'let-be'
}

/**
 * Something about bleeding, whatever came of it: what could not be taken as a date is on the call list. What was
 * written of a visit of somebody else at that number is no answer.
 */
async function hasWritten(tx: Tx, { id, phone }: Patient, since: Date): Promise<boolean> {
  const replies = await tx.replies.fromPhone(phone, since)
  const told = replies.filter(({ reading }) => reading !== null && isAboutBleeding(reading))
  const visits = await tx.bookings.many(told.flatMap(({ bookingId }) => bookingId ?? []))
  const others = new Set(visits.filter(({ patientId }) => patientId !== id).map((visit) => visit.id))
  return told.some(({ bookingId }) => bookingId === null || !others.has(bookingId))
}

const isAboutBleeding = ({ meaning, also = [] }: Reading) =>
  [meaning, ...also].some((each) => REPLY_MEANINGS[each].bleeding !== null)
