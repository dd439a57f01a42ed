import { badInput } from '../failure.ts'
import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { Patient } from './patient.ts'

/**
 * A clinic's own rule for minors; local law prevails. Below that age at the visit a `guardian` must receive the
 * messages, or a `person` tells and nothing is sent.
 */
export interface MinorsRule {
  below: number
  then: 'guardian' | 'person'
}

/** Whole years on a date. Who was born on 29 February is a year older on 1 March of a common year. */
export function ageOn(birthDate: CalendarDate, date: CalendarDate): number {
  const years = Number(date.slice(0, 4)) - Number(birthDate.slice(0, 4))
  return date.slice(5) < birthDate.slice(5) ? years - 1 : years
}

/**
 * What the clinic's rule asks for and is not so; null = nothing. Whose birth date is not known is no minor.
 * @param date of the visit
 */
export function missingForMinor(
  { birthDate, receiver }: Pick<Patient, 'birthDate' | 'receiver'>,
  date: CalendarDate,
  rule: MinorsRule | null,
): MinorsRule['then'] | null {
  if (rule === null || birthDate === undefined || ageOn(birthDate, date) >= rule.below) return null
  return rule.then === 'guardian' && receiver?.relation === 'guardian' ? null : rule.then
}

/**
 * A visit of a minor is not booked without the guardian that the clinic's rule asks for.
 * @throws bad-input
 */
export function refuseUnguarded(
  patient: Pick<Patient, 'birthDate' | 'receiver'>,
  date: CalendarDate,
  rule: MinorsRule | null,
): void {
  if (missingForMinor(patient, date, rule) !== 'guardian') return
  badInput(
    'patient.receiver',
    `Under ${rule!.below} at the visit a guardian must receive the messages. Give the guardian, or check the birth date.`,
  )
}
