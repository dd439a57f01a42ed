import { TO_KNOW } from './call-endings.ts'
import type { FollowUp, FollowUpReason } from './follow-up.ts'
import { FOLLOW_UP_REASONS } from './follow-up-reasons.ts'

/** As many of one reason as a call list shows one by one. Own judgement: more were not made by as many patients. */
export const MOST_ALIKE = 12

/**
 * The reasons of which a clinic has so many open calls that they are one entry with a list: a change of settings, a
 * stopped gateway or many visits entered at once must not hide whoever needs a call for a reason of their own.
 */
export function toListTogether(counts: ReadonlyMap<FollowUpReason, number>): FollowUpReason[] {
  return [...counts]
    .filter(([reason, count]) => FOLLOW_UP_REASONS[reason].many === 'together' && count > MOST_ALIKE)
    .map(([reason]) => reason)
}

/** The reasons whose calls stand on no card of a patient: lists of many, and what is only to be known. */
export function notOnCards(together: readonly FollowUpReason[]): FollowUpReason[] {
  return [...new Set([...together, ...TO_KNOW])]
}

/** Whose card a call stands on: the patient's, or that of the number where no patient is known. */
export const cardOf = ({ patientId, phone, id }: Pick<FollowUp, 'patientId' | 'phone' | 'id'>): string =>
  patientId ?? phone ?? id

/** How many calls a list of so many cards comes to, lists of many included. */
export function entriesOf(cards: number, together: readonly FollowUpReason[]): number {
  return cards + together.filter((reason) => !TO_KNOW.includes(reason)).length
}
