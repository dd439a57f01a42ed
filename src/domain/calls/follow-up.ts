import { FOLLOW_UP_REASONS } from './follow-up-reasons.ts'

export type FollowUpReason = keyof typeof FOLLOW_UP_REASONS

/** What happens to a visit that may end calls about it. */
export type VisitChange = 'new-time' | 'end-of-visit'

/** Whether a call for this reason is pointless once this has happened to its visit. */
export function isSettledBy(reason: FollowUpReason, change: VisitChange): boolean {
  const { settledBy } = FOLLOW_UP_REASONS[reason]
  return settledBy === change || (settledBy === 'new-time' && change === 'end-of-visit')
}

/** The reasons that are pointless then. */
export function reasonsSettledBy(change: VisitChange): FollowUpReason[] {
  const reasons = Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]
  return reasons.filter((reason) => isSettledBy(reason, change))
}

export interface FollowUp {
  id: string
  reason: FollowUpReason
  clinicId: string | null
  bookingId: string | null
  patientId: string | null
  phone: string | null
  /**
   * The patient's words, good dates, planned kinds: whatever the clerk needs to act. `reply`: id of the reply it was
   * opened on, by which a correction of that reply finds it.
   */
  detail: Record<string, unknown>
  openedAt: Date
  closedAt: Date | null
  closedBy: string | null
  outcome: string | null
}
