import { Failure } from '../failure.ts'
import { dateIn } from '../local-time.ts'
import type { Booking } from './booking.ts'
import { endOf } from './duration.ts'

type Lasting = Pick<Booking, 'visitAt' | 'minutes' | 'zone'>

/**
 * A visit is over once the day on which it ends has passed where it takes place. Until then it may be put right:
 * somebody comes late and is seen in the afternoon, or a clerk mends in the evening what was booked wrongly. From then
 * on it is a record of what was: only how it ended, and notes, are still added.
 */
export function isOver({ visitAt, minutes, zone }: Lasting, now: Date): boolean {
  return dateIn(endOf(visitAt, minutes), zone) < dateIn(now, zone)
}

/** @throws too-late for a visit that is over, with what can be done instead */
export function refuseOver(visit: Lasting, now: Date): void {
  if (!isOver(visit, now)) return
  throw new Failure('too-late', {
    message:
      'The day of this visit has passed: it is changed no more. Record how it ended. ' +
      'What is to be corrected about the patient is corrected on the next visit; book one where there is none.',
  })
}
