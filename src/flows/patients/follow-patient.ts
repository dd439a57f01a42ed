import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Message } from '../../domain/messages/message.ts'
import { lossOf } from '../messages/claim-messages.ts'
import { callIfSpoilt } from '../visits/call-if-spoilt.ts'
import { makePlan, unreachableBy, type ToPlan } from '../preparation/make-plan.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newMessage } from '../messages/new-message.ts'
import { openFollowUp } from '../calls/follow-ups.ts'

/** More visits to come than anybody has. */
const MOST_VISITS = 200

export interface Following {
  /** A visit that the caller plans itself. */
  except?: string
  /** False where another text already says what a confirmation would. */
  confirm?: boolean
  because?: ToPlan['because']
  /** What was known of the cycle until now, where that is what changed. */
  cycleBefore?: CycleHistory
}

/**
 * What changed about a patient is followed by everything that is still to be said: each visit to come is planned anew, and
 * what the desk wrote or told goes to where the patient is reached now. Where nobody may write any more, a person calls.
 * @param patient as it is from now on, and stands in the records
 * @returns the visits as they are with their new plans
 */
export async function followPatient(tx: Tx, deps: Deps, patient: Patient, clinic: Clinic, following: Following = {}): Promise<Booking[]> {
  const { except, cycleBefore, ...how } = following
  const visits: Booking[] = []
  for (const booking of await lockVisits(tx, deps, [patient.id])) {
    if (booking.id === except) continue
    const planned = await makePlan(tx, deps, { booking, patient, clinic, ...how })
    visits.push(planned.booking)
    if (!cycleBefore) continue
    await callIfSpoilt(tx, deps, { booking: planned.booking, patient, clinic }, cycleBefore)
  }
  await readdress(tx, deps, patient, clinic, visits)
  return visits
}

/** The visits to come of these patients, locked: always in the same order, so that nobody waits in a circle. */
export async function lockVisits(tx: Tx, deps: Deps, patientIds: string[], from = deps.clock.now()): Promise<Booking[]> {
  if (patientIds.length === 0) return []
  const visits = await tx.bookings.list({ patientIds, from, state: 'booked', limit: MOST_VISITS })
  const inOrder = visits.map(({ id }) => id).sort()
  const locked = await Promise.all(inOrder.map((id) => tx.bookings.lock(id)))
  // What was waited for may have been cancelled meanwhile.
  return locked.filter((booking): booking is Booking => booking?.state === 'booked')
}

/** What waits for sending hours was written for the number and in the language of before. */
async function readdress(tx: Tx, deps: Deps, patient: Patient, clinic: Clinic, visits: readonly Booking[]): Promise<void> {
  const notices = await tx.messages.unsentNotices(patient.id)
  if (notices.length === 0) return
  const unreachable = await unreachableBy(tx, patient)
  for (const notice of notices) {
    const booking = visits.find(({ id }) => id === notice.bookingId) ?? (notice.bookingId && (await tx.bookings.get(notice.bookingId))) ?? null
    const about = { booking: booking || null, patient, clinic }
    if (unreachable) await leaveToDesk(tx, deps, notice, about, unreachable)
    else if (isElsewhere(notice, patient)) await sendAnew(tx, deps, notice, about)
  }
}

type About = { booking: Booking | null; patient: Patient; clinic: Clinic }

async function leaveToDesk(tx: Tx, deps: Deps, notice: Message, about: About, code: string): Promise<void> {
  const withdrawn = await tx.messages.move(notice.id, [notice.state], 'withdrawn', { code, endedAt: deps.clock.now() })
  if (withdrawn) await openFollowUp(tx, deps, about, lossOf(notice), { kind: notice.kind })
}

/** What a person wrote stays as it is written; what Daysix says is said in the patient's present way. */
function addressOf({ answer }: Message, { phone, language, channel, detail }: Patient): Pick<Message, 'phone'> & Partial<Message> {
  return answer === null ? { phone, language, channel, detail } : { phone, channel: 'sms', detail: 'full' }
}

function isElsewhere(notice: Message, patient: Patient): boolean {
  return Object.entries(addressOf(notice, patient)).some(([field, value]) => notice[field as keyof Message] !== value)
}

async function sendAnew(tx: Tx, deps: Deps, notice: Message, about: About): Promise<void> {
  const withdrawn = await tx.messages.move(notice.id, [notice.state], 'withdrawn', { code: 'readdressed', endedAt: deps.clock.now() })
  if (!withdrawn) return
  const { kind, sendAt, notAfter, unsolicited, visitAt, choices, answer, byHand, language } = notice
  const said = { kind, sendAt, notAfter, unsolicited, visitAt, choices, answer, byHand, language }
  await tx.messages.insert([newMessage(deps, about, { ...said, ...addressOf(notice, about.patient) })])
}
