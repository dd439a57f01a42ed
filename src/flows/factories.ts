import type { Booking } from '../domain/visits/booking.ts'
import type { Patient } from '../domain/patients/patient.ts'
import type { Clinic } from '../domain/region/clinic.ts'
import type { FollowUp, FollowUpReason } from '../domain/calls/follow-up.ts'
import type { Message } from '../domain/messages/message.ts'
import type { TextKind } from '../domain/messages/texts/kinds.ts'
import type { Deps, Pipelined, Tx } from './ports/deps.ts'

/** Whom and what a new record is about. */
export interface FollowUpSubject {
  clinic: Clinic | null
  patient: Patient | null
  booking: Booking | null
  phone?: string
}

/** A new booking, not yet planned. */
export function newBooking(facts: Pick<Booking, 'id' | 'patientId' | 'clinicId' | 'clinician' | 'protocol' | 'visitAt' | 'zone' | 'createdAt'>): Booking {
  const first = { firstVisitAt: facts.visitAt, moves: 0 }
  return { ...facts, ...first, state: 'booked', planRevision: 0, planBasis: '', confirmedAt: null, shortNotice: false, lapses: [] }
}

/** A new message, planned and not yet sent. */
export function newMessage(
  deps: Deps,
  about: { clinic: Clinic; patient: Patient; booking: Booking | null },
  message: Pick<Message, 'kind' | 'sendAt' | 'notAfter' | 'unsolicited'> & Partial<Message>,
): Message {
  const { clinic, patient, booking } = about
  return {
    id: deps.newId('m'),
    bookingId: booking?.id ?? null,
    patientId: patient.id,
    clinicId: clinic.id,
    phone: patient.phone,
    channel: patient.channel,
    detail: patient.detail,
    language: patient.language,
    state: 'planned',
    revision: null,
    prompted: false,
    attempt: 0,
    visitAt: booking?.visitAt ?? null,
    choices: [],
    answer: null,
    gateway: clinic.settings.gateway,
    gatewayRef: null,
    text: null,
    claimedAt: null,
    sentAt: null,
    endedAt: null,
    code: null,
    fallbackOf: null,
    ...message,
  }
}

/** The ids that say which message a notice is about, and for which visit, where it is for one. */
export function idsOf({ id, bookingId }: { id: string; bookingId?: string | null }): { message: string; booking?: string } {
  return { message: id, ...(bookingId && { booking: bookingId }) }
}

const ANSWER_WORTH_MS = 12 * 3_600_000

/** An answer to what she just wrote: at once, at any hour, outside the caps; worth little by the next day. */
export function newAnswer(
  deps: Deps,
  about: { clinic: Clinic; patient: Patient; booking: Booking | null },
  kind: TextKind,
  facts: Partial<Message> = {},
): Message {
  const now = deps.clock.now()
  const notAfter = new Date(now.getTime() + ANSWER_WORTH_MS)
  // Whatever her usual channel is, she wrote: the answer is written too.
  return newMessage(deps, about, { kind, sendAt: now, notAfter, unsolicited: false, prompted: true, channel: 'sms', ...facts })
}

/** Opens a follow-up, unless the same one is open for the same visit already. */
export async function openFollowUp(
  tx: Tx,
  deps: Deps,
  { clinic, patient, booking, phone }: FollowUpSubject,
  reason: FollowUpReason,
  detail: Record<string, unknown> = {},
): Promise<void> {
  if (booking && ONCE.has(reason)) {
    const open = await tx.followUps.list({ bookingId: booking.id, open: true, limit: 100 })
    if (open.some((each) => each.reason === reason)) return
  }
  const followUp: FollowUp = {
    id: deps.newId('f'),
    reason,
    clinicId: clinic?.id ?? null,
    bookingId: booking?.id ?? null,
    patientId: patient?.id ?? null,
    phone: phone ?? patient?.phone ?? null,
    detail,
    openedAt: deps.clock.now(),
    closedAt: null,
    closedBy: null,
    outcome: null,
  }
  void tx.followUps.insert(followUp)
  deps.notice('follow-up', { followUp: followUp.id, ...(booking && { booking: booking.id }) })
}

/** Reasons that say the same thing however often they arise. Her own words are never folded into an older entry. */
const ONCE: ReadonlySet<FollowUpReason> = new Set([
  'badly-timed',
  'no-opening',
  'not-delivered',
  'not-told',
  'no-consent',
  'short-notice',
  'plan-not-kept',
  'offer-lapsed',
  'opted-out',
  'wrong-person',
  'died',
  'move-limit',
])

/** Reasons that a new visit time settles. */
const SETTLED_BY_MOVING: ReadonlySet<FollowUpReason> = new Set([
  'badly-timed',
  'no-opening',
  'cannot-come',
  'offer-lapsed',
  'approve-move',
  'short-notice',
  'not-told',
  'move-limit',
])

/** Reasons that are pointless once the visit is over: nobody can be prepared for it any more. Alarms and her words stay. */
export const POINTLESS_AFTERWARDS: readonly FollowUpReason[] = [...SETTLED_BY_MOVING, 'not-delivered', 'no-consent', 'opted-out', 'plan-not-kept', 'visit-moved']

/** Closes what a moved (or cancelled) visit has settled, so that nobody calls about it. */
export function settleFollowUps(tx: Tx, deps: Deps, bookingId: string, outcome: string): Promise<void> {
  return closeFollowUps(tx, deps, bookingId, ({ reason }) => SETTLED_BY_MOVING.has(reason), outcome)
}

/** Closes those open calls about a visit that have become pointless. */
export async function closeFollowUps(tx: Tx, deps: Deps, bookingId: string, settled: (each: FollowUp) => boolean, outcome: string): Promise<void> {
  for (const each of await tx.followUps.list({ bookingId, open: true, limit: 100 })) {
    if (settled(each)) await tx.followUps.close(each.id, 'daysix', outcome, deps.clock.now())
  }
}

/** Notes what happened to a visit, for people who ask later. */
export function noteEvent(tx: Tx, deps: Deps, bookingId: string | null, what: string, by: string, facts: Record<string, unknown> = {}): Pipelined {
  return tx.events.add({ at: deps.clock.now(), bookingId, what, by, facts })
}
