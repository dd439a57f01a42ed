import type { Booking } from './booking.ts'

const DAY_MS = 86_400_000

/**
 * How far a visit may drift by texts alone: after so many moves by the patient, or so many days beyond its first time, a
 * person agrees on the next one. Timing serves the specimen and must not cost anybody the visit. Our own judgement: screening
 * programmes say that whoever may not return, is overdue or had an abnormal result is not to be put off, and name no figure.
 */
export const MOVE_LIMIT = { moves: 2, days: 42 } as const

/** The latest time that may be offered by text, never earlier than the visit as it stands; null = none may be. */
export function latestOffer({ visitAt, firstVisitAt, moves }: Pick<Booking, 'visitAt' | 'firstVisitAt' | 'moves'>): Date | null {
  if (moves >= MOVE_LIMIT.moves) return null
  return new Date(Math.max(visitAt.getTime(), firstVisitAt.getTime() + MOVE_LIMIT.days * DAY_MS))
}
