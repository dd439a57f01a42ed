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
 * `open` until she answers. `accepted`: the visit moved. `waiting`: she chose, the desk must approve.
 * `lapsed`: nobody answered in time. `declined`: she or the desk said no. `overtaken`: something newer replaced it.
 */
export type OfferState = 'open' | 'waiting' | 'accepted' | 'declined' | 'lapsed' | 'overtaken'
