/** A time at a clinic that a visit can occupy. `held` reserves it for one booking until `heldUntil`. */
export interface Slot {
  id: string
  clinicId: string
  clinician: string
  startsAt: Date
  state: 'free' | 'held' | 'taken'
  bookingId: string | null
  heldUntil: Date | null
}
