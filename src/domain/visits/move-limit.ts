import { dateIn, startOfDay } from '../local-time.ts'
import { addDays } from '../preparation/cycle/days.ts'
import type { Booking } from './booking.ts'
import { PURPOSES } from './purpose.ts'

const DAY_MS = 86_400_000

/**
 * How far a routine visit may drift by texts alone: after so many moves by the patient, or so many weeks beyond its
 * first time, a person agrees on the next one. The usual figures are our own judgement: screening programmes say that
 * whoever may not return is not to be put off, and name none.
 */
export interface MoveLimit {
  moves: number
  weeks: number
}
export const USUAL_MOVE_LIMIT: MoveLimit = { moves: 2, weeks: 6 }

/** What says whether a visit may be put off. */
type Due = Pick<Booking, 'visitAt' | 'purpose' | 'dueBy' | 'zone'>

/** Why a visit may not be put off for a better day; null = it may. */
export function whyKept({ purpose, dueBy, visitAt, zone }: Due): 'purpose' | 'due' | null {
  if (!PURPOSES[purpose].mayBePutOff) return 'purpose'
  return dueBy !== null && dateIn(visitAt, zone) >= dueBy ? 'due' : null
}

/** The same for the desk, e.g. "it is due"; null = it may be put off. */
export function whyKeptWords(visit: Due): string | null {
  const kept = whyKept(visit)
  if (kept === null) return null
  return kept === 'due' ? 'it is due' : `it is not routine (${PURPOSES[visit.purpose].label.toLowerCase()})`
}

/**
 * The latest time that is a better one for the sake of timing or preparation: for a visit that may not be put off, the
 * booked one; for a routine one what is due by leaves; null = any.
 */
export function latestBetter(visit: Due): Date | null {
  const { visitAt, dueBy, zone } = visit
  if (whyKept(visit) !== null) return visitAt
  return dueBy === null ? null : new Date(startOfDay(addDays(dueBy, 1), zone).getTime() - 1)
}

/** The latest time that may be offered by text, never earlier than the visit as it stands; null = none may be. */
export function latestOffer(visit: Due & Pick<Booking, 'firstVisitAt' | 'moves'>, limit: MoveLimit): Date | null {
  if (visit.moves >= limit.moves) return null
  const { visitAt, firstVisitAt } = visit
  const byLimit = Math.max(visitAt.getTime(), firstVisitAt.getTime() + 7 * limit.weeks * DAY_MS)
  return new Date(Math.min(byLimit, latestBetter(visit)?.getTime() ?? Infinity))
}
