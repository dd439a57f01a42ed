import type { FollowUpReason } from './follow-up.ts'
import { hears } from '../patients/reach.ts'
import type { Patient } from '../patients/patient.ts'
import { inWriting } from './in-writing.ts'
import { FOLLOW_UP_REASONS } from './follow-up-reasons.ts'

/**
 * What to say, filled in; null when there is nothing to say to the patient.
 * @param values words, e.g. "on Tuesday 3 March at 10:20"; `visit` is empty where the call is about
 *   none
 */
export function wordsToSay(reason: FollowUpReason, { visit, dates }: { visit: string; dates: string }): string | null {
  const words = FOLLOW_UP_REASONS[reason].say
  return words && words.replace(' {visit}', visit && ` ${visit}`).replace('{dates}', dates)
}

/** Whether the words name dates on which the visit would be well timed. */
export function namesDates(reason: FollowUpReason): boolean {
  return FOLLOW_UP_REASONS[reason].say?.includes('{dates}') ?? false
}

type Reached = Pick<Patient, 'reach'>

/** What a clerk is to do; to a patient who does not hear a call, in writing. */
export function whatToDo(reason: FollowUpReason, patient: Reached | null): string {
  return asReached(FOLLOW_UP_REASONS[reason].todo, patient)
}

/** With the number that is dialled in an emergency where this clinic is, once it has set one. */
export const withEmergency = (words: string, emergency: string | null): string =>
  emergency === null ? words : words.replace('your local emergency number', emergency)

/** Words about a call as they hold for this patient. */
export const asReached = (words: string, patient: Reached | null): string =>
  patient && !hears(patient) ? inWriting(words) : words
