import type { CalendarDate, CycleHistory } from '../cycle/history.ts'
import { leavesRoom } from '../prep/mark.ts'
import type { Protocol } from '../prep/protocol.ts'
import { inZone, type SendingHours } from '../prep/sending-hours.ts'
import { rankOpenings } from './rank.ts'

/** As many as one text can list and a person can weigh. */
export const MOST_CHOICES = 3

export interface ChoiceRequest<T> {
  openings: readonly T[]
  at: (opening: T) => Date
  history: CycleHistory
  /** The visit as it stands. */
  visit: Date
  zone: string
  now: Date
  hours: SendingHours
  protocol: Protocol
  /** She cannot come at all: then an opening need only be good, not better than what she has. */
  mustMove: boolean
}

/**
 * The openings worth putting to a patient: those that leave room to prepare, best three by rank, listed in order of
 * time so that she can compare them with her calendar.
 */
export function chooseOpenings<T>(request: ChoiceRequest<T>): T[] {
  const { openings, at, visit, zone, now, hours, protocol } = request
  const roomy = openings.filter((opening) => {
    const start = at(opening)
    return start.getTime() !== visit.getTime() && leavesRoom(now, start, protocol.prepHours, zone, hours)
  })
  const dated = roomy.map((opening, index) => ({ opening, key: String(index), date: dateIn(at(opening), zone) }))
  const order = ranked(dated, request)
  const byKey = new Map(dated.map((each) => [each.key, each.opening]))
  return spread(order.map((key) => byKey.get(key)!), at, zone).sort((a, b) => at(a).getTime() - at(b).getTime())
}

/** Local calendar date of an instant. */
export function dateIn(at: Date, zone: string): CalendarDate {
  return inZone(at, zone).toISODate()
}

type Dated = { key: string; date: CalendarDate }
type Timed = Omit<ChoiceRequest<unknown>, 'openings' | 'at'>

function ranked(openings: Dated[], { history, visit, zone, now, protocol, mustMove }: Timed): string[] {
  const request = { history, booked: dateIn(visit, zone), openings, protocol, mustMove, asOf: dateIn(now, zone) }
  return rankOpenings(request).map(({ key }) => key)
}

/** Three times on one morning are no choice to somebody who works that morning: prefer different days, then fill up. */
function spread<T>(openings: T[], at: (opening: T) => Date, zone: string): T[] {
  const days = new Set<string>()
  const firstOfDay = openings.filter((opening) => {
    const day = dateIn(at(opening), zone)
    return !days.has(day) && days.add(day)
  })
  const rest = openings.filter((opening) => !firstOfDay.includes(opening))
  return [...firstOfDay, ...rest].slice(0, MOST_CHOICES)
}
