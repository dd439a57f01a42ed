import type { PlannedKind } from '../messages/texts/kinds.ts'

/** Whoever is told later than usual needs so many waking hours before the preparation begins. Judgement, no source. */
export const ENOUGH_WAKING_HOURS = 4

/** What a plan cannot keep, in a sentence for the desk. */
export type PlanWarning = {
  /**
   * `short-notice`: not the full hours; `tight`: told only just before they begin; `no-time-to-tell`; `cap-reached`: no
   * room; `not-asked`: no time to ask for the last period; `nobody-tells`: no message may go;
   * `consent-ends`: none after that day.
   */
  code: 'short-notice' | 'tight' | 'no-time-to-tell' | 'cap-reached' | 'not-asked' | 'nobody-tells' | 'consent-ends'
  kind: PlannedKind
  message: string
}

/** Booked after the preparation should have begun. */
export const shortNotice = (prepHours: number): PlanWarning => ({
  code: 'short-notice',
  kind: 'late-prep',
  message: `Booked too late for the full ${prepHours} hours of preparation: the visit will be marked as not fully prepared.`,
})

export const NO_TIME_TO_TELL: PlanWarning = {
  code: 'no-time-to-tell',
  kind: 'late-prep',
  message:
    'There is no time within sending hours to tell the patient: call the patient, or ask about preparation at the visit.',
}

export const TIGHT: PlanWarning = {
  code: 'tight',
  kind: 'prep',
  message: `The patient is told how to prepare under ${ENOUGH_WAKING_HOURS} waking hours before it begins: make sure by telephone, or ask about it at the visit.`,
}

export const NOT_ASKED: PlanWarning = {
  code: 'not-asked',
  kind: 'lmp-question',
  message:
    'There is no time to ask for the last period by message: ask for its first day when you speak to the patient.',
}

/** The caps leave no room for it. */
export function gaveWay(kind: PlannedKind): PlanWarning {
  return {
    code: 'cap-reached',
    kind,
    message: `No room for "${kind}": at most one message a day and three a week go to a patient. Tell the patient by telephone if it matters.`,
  }
}
