import { dateIn } from '../local-time.ts'
import type { CalendarDate, CycleHistory } from '../preparation/cycle/history.ts'
import { leavesRoom } from '../preparation/deadline.ts'
import type { Protocol } from '../preparation/protocol.ts'
import { type SendingHours } from '../preparation/sending-hours.ts'
import { rankOpenings } from './rank-openings.ts'

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
  /** The patient cannot come at all: then an opening need only be good, not better than what is booked. */
  mustMove: boolean
}

/**
 * The openings worth putting to a patient: those that leave room to prepare, best three by rank, listed in order of
 * time so that the patient can compare them with a calendar.
 */
export function chooseOpenings<T>(request: ChoiceRequest<T>): T[] {
  const { openings, at, visit, zone } = request
  const others = openings.filter((opening) => at(opening).getTime() !== visit.getTime())
  const dated = others.map((opening, index) => ({ opening, key: String(index), date: dateIn(at(opening), zone) }))
  const order = ranked(dated, request).map((key) => dated[Number(key)]!)
  return spread(order, (opening) => hasRoom(at(opening), request))
    .map(({ opening }) => opening)
    .sort((a, b) => at(a).getTime() - at(b).getTime())
}

function hasRoom(start: Date, { now, protocol, zone, hours }: Timed): boolean {
  return leavesRoom(now, start, protocol.prepHours, zone, hours)
}

type Dated = { key: string; date: CalendarDate }
type Choice<T> = Dated & { opening: T }
type Timed = Omit<ChoiceRequest<unknown>, 'openings' | 'at'>

function ranked(openings: Dated[], { history, visit, zone, now, protocol, mustMove }: Timed): string[] {
  const request = { history, booked: dateIn(visit, zone), openings, protocol, mustMove, asOf: dateIn(now, zone) }
  return rankOpenings(request).map(({ key }) => key)
}

/**
 * Three times on one morning are no choice to somebody who works that morning: prefer different days, then fill up.
 * @param hasRoom asked only of those that come into question, since among hundreds it costs more than the rank
 */
function spread<T>(order: readonly Choice<T>[], hasRoom: (opening: T) => boolean): Choice<T>[] {
  const chosen: Choice<T>[] = []
  const take = (wanted: (choice: Choice<T>) => boolean): void => {
    for (const choice of order) {
      if (chosen.length === MOST_CHOICES) return
      if (!chosen.includes(choice) && wanted(choice) && hasRoom(choice.opening)) chosen.push(choice)
    }
  }
  take(({ date }) => chosen.every((each) => each.date !== date))
  take(() => true)
  return chosen
}
