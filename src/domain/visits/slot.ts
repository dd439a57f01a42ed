/**
 * A time at a clinic that a visit can occupy. `held` reserves it for one booking until `heldUntil`. What is held or
 * taken ends at `endsAt`; a free time lasts as long as whoever comes needs, unless `minutes` says otherwise.
 */
export interface Slot {
  id: string
  clinicId: string
  clinician: string
  startsAt: Date
  state: 'free' | 'held' | 'taken'
  bookingId: string | null
  heldUntil: Date | null
  minutes: number | null
  endsAt: Date | null
  /** Booked on purpose while the clinician is busy with somebody else. */
  overbooked: boolean
}

/** A free time, as it is added. */
export function opening(
  time: Pick<Slot, 'id' | 'clinicId' | 'clinician' | 'startsAt'>,
  minutes: number | null = null,
): Slot {
  return { ...time, minutes, state: 'free', bookingId: null, heldUntil: null, endsAt: null, overbooked: false }
}

/** Nobody has it, or the time for which it was held is up. */
export const isFree = ({ state, heldUntil }: Slot, now: Date): boolean =>
  state === 'free' || (state === 'held' && heldUntil! <= now)

/** Somebody who came before is still there when it begins: it is free, and of no use. */
export const isCovered = (time: Slot, all: readonly Slot[], now: Date): boolean =>
  all.some(
    (other) =>
      other.clinician === time.clinician &&
      !isFree(other, now) &&
      other.startsAt <= time.startsAt &&
      other.endsAt! > time.startsAt,
  )
