import type { Booking } from './booking.ts'

/**
 * As short as such a visit can be, so that nothing is refused that a clinic may have meant: collecting alone takes a
 * few minutes. Common practice, no source; each clinic says how long its own visits take.
 */
export const USUAL_MINUTES = 10
export const SHORTEST_MINUTES = 5
export const LONGEST_MINUTES = 240

/** A length in minutes as far as each has one: what was told of the visit, else the clinic, else the protocol. */
export interface Lengths {
  own?: number | undefined
  clinic: number | null
  protocol: number
}

export const minutesOf = ({ own, clinic, protocol }: Lengths): number => own ?? clinic ?? protocol

export const endOf = (from: Date, minutes: number): Date => new Date(from.getTime() + minutes * 60_000)

/** What of a visit says when somebody is busy with it. */
export type Occupied = Pick<Booking, 'id' | 'clinicId' | 'clinician' | 'visitAt' | 'minutes'>

/** Each lasts for some of the other. One that ends as the other begins does not. */
export const sameTime = (a: Pick<Occupied, 'visitAt' | 'minutes'>, b: Pick<Occupied, 'visitAt' | 'minutes'>): boolean =>
  a.visitAt < endOf(b.visitAt, b.minutes) && b.visitAt < endOf(a.visitAt, a.minutes)

/** Both need the same person at one time. */
export function overlap(a: Occupied, b: Occupied): boolean {
  const sameList = a.clinicId === b.clinicId && a.clinician === b.clinician
  return sameList && sameTime(a, b)
}

/** Those of a list that overlap another of it, by id. */
export function overlapping(visits: readonly Occupied[]): Set<string> {
  const inOrder = visits.toSorted((a, b) => a.visitAt.getTime() - b.visitAt.getTime())
  const found = new Set<string>()
  for (const [index, visit] of inOrder.entries()) {
    const end = endOf(visit.visitAt, visit.minutes)
    for (let next = index + 1; next < inOrder.length && inOrder[next]!.visitAt < end; next++)
      if (overlap(visit, inOrder[next]!)) found.add(visit.id).add(inOrder[next]!.id)
  }
  return found
}
