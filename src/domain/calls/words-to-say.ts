import { FOLLOW_UP_REASONS, type FollowUpReason } from './follow-up.ts'

/**
 * What to say, filled in; null when there is nothing to say to the patient.
 * @param values words, e.g. "on Tuesday 3 March at 10:20"; `visit` is empty where the call is about
 *   none
 */
export function wordsToSay(
  reason: FollowUpReason,
  { visit, dates }: { visit: string; dates: string },
): string | null {
  const words = FOLLOW_UP_REASONS[reason].say
  return words && words.replace(' {visit}', visit && ` ${visit}`).replace('{dates}', dates)
}

/** Whether the words name dates on which the visit would be well timed. */
export function namesDates(reason: FollowUpReason): boolean {
  return FOLLOW_UP_REASONS[reason].say?.includes('{dates}') ?? false
}
