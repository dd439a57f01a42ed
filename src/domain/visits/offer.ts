/** Up to three openings put to a patient. */
export interface Offer {
  id: string
  bookingId: string
  state: OfferState
  choices: { slotId: string; at: Date} []
  chosen: number | null
  madeAt: Date
  until: Date
}

/**
 * `open` until the patient answers. `accepted`: the visit moved. `waiting`: the patient chose, the desk must approve.
 * `lapsed`: nobody answered in time. `declined`: the patient or the desk said no. `overtaken`: something newer replaced it.
 */
export type OfferState = 'open' | 'waiting' | 'accepted' | 'declined' | 'lapsed' | 'overtaken'
