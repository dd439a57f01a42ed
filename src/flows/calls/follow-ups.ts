import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { FollowUp, FollowUpReason } from '../../domain/calls/follow-up.ts'
import type { Deps, Tx } from '../ports/deps.ts'

/** Whom and what a new record is about. */
export interface FollowUpSubject {
  clinic: Clinic | null
  patient: Patient | null
  booking: Booking | null
  phone?: string
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
