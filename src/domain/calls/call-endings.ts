import type { FollowUpReason } from './follow-up.ts'

/** The form on the visit's page at which an ending is carried out; the call ends with what is entered there. */
export type LeadsTo = 'move' | 'reach' | 'period'

interface Ending {
  /** On the button, and on record. */
  words: string
  /** Nothing is recorded by the press itself: the visit's page opens at this form. */
  leads?: LeadsTo
}

/** What may come of a call, by one press each. */
export const CALL_ENDINGS = {
  told: { words: 'Told how to prepare' },
  'told-all': { words: 'Told by telephone' },
  'had-arrived': { words: 'The message had arrived' },
  'at-visit': { words: 'To be asked at the visit' },
  answered: { words: 'Answered' },
  'nothing-to-answer': { words: 'Nothing to answer' },
  spoken: { words: 'Spoken with, and safe' },
  clinician: { words: 'A clinician has taken over' },
  kept: { words: 'The visit stays' },
  move: { words: 'Agreed on another time', leads: 'move' },
  rebooked: { words: 'Another time is booked' },
  'wants-no-visit': { words: 'Wants no other visit' },
  consent: { words: 'Consent given', leads: 'reach' },
  period: { words: 'Enter the last period', leads: 'period' },
  'does-not-know': { words: 'The patient does not know' },
  arranged: { words: 'Arranged' },
  'number-found': { words: 'The right number is recorded' },
  'number-not-found': { words: 'No right number is known' },
  'record-settled': { words: 'Looked into, and the record is right' },
  'wants-none': { words: 'Wants no more messages' },
  'wants-messages': { words: 'Wants messages' },
  wanted: { words: 'A specimen is wanted' },
  'not-wanted': { words: 'No specimen is wanted' },
  language: { words: 'The language is known' },
  seen: { words: 'Seen' },
  'mended-there': { words: 'Mended in the schedule' },
  'booked-here': { words: 'Booked here by hand' },
  'not-needed': { words: 'No call needed' },
} as const satisfies Record<string, Ending>
export type EndingName = keyof typeof CALL_ENDINGS

/**
 * How a call for each reason usually ends, the most usual first; "no answer", "no call needed" and words of one's own
 * go with all of them. `to-know`: nobody is called for it, the desk only has to see it.
 */
const ENDINGS_OF: Record<FollowUpReason, readonly EndingName[] | 'to-know'> = {
  alarm: ['clinician', 'spoken'],
  'wrong-person': ['number-found', 'number-not-found'],
  died: ['record-settled'],
  'unexpected-bleeding': ['clinician', 'spoken'],
  'bleeding-at-visit': ['kept', 'move', 'clinician'],
  needs: ['arranged'],
  lapse: ['kept', 'move', 'rebooked'],
  'no-opening': ['move', 'kept'],
  'cannot-come': ['move', 'kept'],
  'unclear-reply': ['answered', 'nothing-to-answer'],
  'unknown-sender': ['number-found', 'nothing-to-answer'],
  contradiction: ['period', 'does-not-know'],
  'not-delivered': ['told', 'move'],
  'text-lost': ['told-all', 'had-arrived'],
  'not-told': ['told', 'at-visit', 'move'],
  'no-consent': ['told', 'consent'],
  'person-tells': ['told'],
  'answer-not-sent': ['answered'],
  'short-notice': 'to-know',
  'ask-lmp': ['period', 'does-not-know'],
  'unanswered-check': ['period', 'does-not-know'],
  'plan-not-kept': ['told-all'],
  'badly-timed': ['move', 'kept'],
  'not-to-be-put-off': ['kept', 'clinician'],
  'nearest-time': ['move', 'kept'],
  // Approved or declined by a form of its own.
  'approve-move': [],
  'enter-move': [],
  'visit-moved': 'to-know',
  'offer-lapsed': ['move', 'kept'],
  'opted-out': ['told'],
  'check-opt-out': ['wants-messages', 'wants-none'],
  'prep-question': ['answered'],
  clinician: ['clinician', 'spoken'],
  'ask-whether-to-wait': ['kept', 'move', 'rebooked'],
  'no-specimen': ['rebooked', 'wants-no-visit'],
  eligibility: ['wanted', 'not-wanted'],
  'move-limit': ['move', 'kept'],
  'late-period': ['clinician', 'period'],
  'other-language': ['language'],
  'send-unknown': ['told', 'had-arrived'],
  'courtesy-unknown': ['told', 'had-arrived'],
  'schedule-unclear': ['mended-there', 'booked-here'],
}

const REASONS = Object.keys(ENDINGS_OF) as FollowUpReason[]

/** What the desk has to see, and nobody has to be called for. */
export const TO_KNOW: readonly FollowUpReason[] = REASONS.filter((reason) => ENDINGS_OF[reason] === 'to-know')

/** How a call for this reason usually ends. */
export function endingsOf(reason: FollowUpReason): readonly EndingName[] {
  const endings = ENDINGS_OF[reason]
  return endings === 'to-know' ? ['seen'] : endings
}

/** What is recorded when this is pressed; undefined where it is no ending of such a call, or leads to a form. */
export function outcomeOf(reason: FollowUpReason, pressed: string): string | undefined {
  if (pressed === 'not-needed') return CALL_ENDINGS['not-needed'].words
  const name = endingsOf(reason).find((each) => each === pressed)
  const ending: Ending | undefined = name && CALL_ENDINGS[name]
  return ending && ending.leads === undefined ? ending.words : undefined
}

/** The form that this ending is carried out at, if any. */
export function leadsTo(name: EndingName): LeadsTo | undefined {
  const ending: Ending = CALL_ENDINGS[name]
  return ending.leads
}
