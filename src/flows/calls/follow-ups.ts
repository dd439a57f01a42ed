import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import {
  FOLLOW_UP_REASONS,
  isSettledBy,
  type FollowUp,
  type FollowUpReason,
  type VisitChange,
} from '../../domain/calls/follow-up.ts'
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

/** Opens a follow-up, unless one that stands for it is open already. */
export async function openFollowUp(
  tx: Tx,
  deps: Deps,
  { clinic, patient, booking, phone }: FollowUpSubject,
  reason: FollowUpReason,
  detail: Record<string, unknown> = {},
): Promise<void> {
  if (booking && FOLLOW_UP_REASONS[reason].once !== 'never') {
    const open = await tx.followUps.list({ bookingId: booking.id, open: true, limit: MOST_OPEN })
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
  await tx.followUps.insert(followUp)
  deps.notice('follow-up', { followUp: followUp.id, ...(booking && { booking: booking.id }) })
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

/** Closes those open calls about a visit that have become pointless. */
export async function closeFollowUps(
  tx: Tx,
  deps: Deps,
  bookingId: string,
  settled: (each: FollowUp) => boolean,
  outcome: string,
): Promise<void> {
  for (const each of await tx.followUps.list({ bookingId, open: true, limit: MOST_OPEN })) {
    if (settled(each)) await tx.followUps.close(each.id, 'daysix', outcome, deps.clock.now())
  }
}
