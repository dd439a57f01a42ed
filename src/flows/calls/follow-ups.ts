import type { Booking } from '../../domain/visits/booking.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import { isSettledBy, type FollowUp, type FollowUpReason, type VisitChange } from '../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../domain/calls/follow-up-reasons.ts'
import type { Deps, Tx } from '../ports/deps.ts'

/** Whom and what a new record is about. */
export interface FollowUpSubject {
  clinic: Clinic | null
  patient: Patient | null
  booking: Booking | null
  phone?: string
}

/** More open calls than one visit or number ever has. */
const MOST_OPEN = 100

/**
 * Opens a follow-up, unless one that says as much is open already, or the visit that it would be
 * about is cancelled and leaves nothing to be done.
 */
export async function openFollowUp(...what: Parameters<typeof openCall>): Promise<void> {
  await openCall(...what)
}

/** As `openFollowUp`. @returns its id; undefined where none was opened */
export async function openCall(
  tx: Tx,
  deps: Deps,
  { clinic, patient, booking, phone }: FollowUpSubject,
  reason: FollowUpReason,
  detail: Record<string, unknown> = {},
): Promise<string | undefined> {
  if (booking?.state === 'cancelled' && isSettledBy(reason, 'end-of-visit')) return undefined
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
  if (await isSaidBy(tx, followUp)) return undefined
  void tx.followUps.insert(followUp)
  deps.notice('follow-up', { followUp: followUp.id, ...(booking && { booking: booking.id }) })
  return followUp.id
}

/** Whether an open call says as much: about the same visit, or about the number as such. */
async function isSaidBy(tx: Tx, call: FollowUp): Promise<boolean> {
  const { reason, bookingId, clinicId, phone } = call
  const { once } = FOLLOW_UP_REASONS[reason]
  const ofNumber = once === 'number' && phone !== null ? { phone } : null
  const among = bookingId === null ? ofNumber : { bookingId }
  if (once === 'never' || !among) return false
  const open = await tx.followUps.list({ ...among, open: true, limit: MOST_OPEN })
  const isAbout = (each: FollowUp) => each.bookingId === bookingId && each.clinicId === clinicId
  return open.some((each) => each.reason === reason && isAbout(each))
}

/** Closes what this change of a visit has settled, so that nobody calls about it. */
export function settleFollowUps(
  tx: Tx,
  deps: Deps,
  bookingId: string,
  change: VisitChange,
  outcome: string,
): Promise<void> {
  return closeFollowUps(tx, deps, bookingId, ({ reason }) => isSettledBy(reason, change), outcome)
}

/** What waits for the desk, or for the clinic's own schedule. */
const MOVES: ReadonlySet<FollowUpReason> = new Set(['approve-move', 'enter-move'])

/** Closes the call for the desk's word on a choice: it was given, or is wanted no more. */
export function closeApproval(
  tx: Tx,
  deps: Deps,
  { id, bookingId }: Pick<Offer, 'id' | 'bookingId'>,
  outcome: string,
  by = 'daysix',
): Promise<void> {
  const asksForIt = ({ reason, detail }: FollowUp) => MOVES.has(reason) && detail.offer === id
  return closeFollowUps(tx, deps, bookingId, asksForIt, outcome, by)
}

/** Closes those open calls about a visit that have become pointless. */
export async function closeFollowUps(
  tx: Tx,
  deps: Deps,
  bookingId: string,
  settled: (each: FollowUp) => boolean,
  outcome: string,
  by = 'daysix',
): Promise<void> {
  return closeEach(tx, deps, bookingId, (each) => (settled(each) ? outcome : null), by)
}

/** Closes each open call about a visit that has an outcome; null = it stays. */
export async function closeEach(
  tx: Tx,
  deps: Deps,
  bookingId: string,
  outcomeOf: (each: FollowUp) => string | null,
  by = 'daysix',
): Promise<void> {
  for (const each of await tx.followUps.list({ bookingId, open: true, limit: MOST_OPEN })) {
    const outcome = outcomeOf(each)
    if (outcome !== null) await tx.followUps.close(each.id, by, outcome, deps.clock.now())
  }
}
