import { dateIn } from '../local-time.ts'
import { daysBetween } from '../preparation/cycle/days.ts'

/** The visit is still to come, today or tomorrow: too late to be answered with other times. */
export function isNear({ visitAt, zone }: { visitAt: Date; zone: string }, at: Date): boolean {
  return visitAt > at && daysBetween(dateIn(at, zone), dateIn(visitAt, zone)) <= 1
}
