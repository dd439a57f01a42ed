import type { FollowUpReason } from '../calls/follow-up.ts'

/**
 * Why another time is wanted: the visit is badly timed, or the patient cannot come to it. An offer that ends and leaves
 * the visit where it is makes it a call for that reason.
 */
export type OfferReason = Extract<FollowUpReason, 'no-opening' | 'cannot-come'>

/** Up to three openings put to a patient. */
export interface Offer {
  id: string
  bookingId: string
  reason: OfferReason
  state: OfferState
  choices: { slotId: string; at: Date }[]
  chosen: number | null
  madeAt: Date
  until: Date
}

/**
 * `open` until the patient answers. `accepted`: the visit moved. `waiting`: the patient chose, the desk must approve.
 * `lapsed`: nobody answered in time. `declined`: the patient or the desk said no. `overtaken`: something newer replaced
 * it.
 */
export type OfferState = 'open' | 'waiting' | 'accepted' | 'declined' | 'lapsed' | 'overtaken'
