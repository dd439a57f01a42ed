import type { FollowUpReason } from './follow-up.ts'

/**
 * Words that a clerk may say when she calls, by reason. They never name a result, never diagnose, and never speak of
 * prescribed medicine but to keep it. `{visit}` and `{dates}` are filled in. Null: nothing is said to the patient.
 */
const SAY: Record<FollowUpReason, string | null> = {
  alarm: 'You wrote to us and I am calling at once. How are you now? I will fetch a clinician to speak with you. If it gets worse, call your local emergency number.',
  'wrong-person': null,
  died: null,
  lapse: 'Thank you for telling us. It happens. Please still plan to come {visit}; I will ask a clinician and call you if another day is better.',
  'no-opening': 'Your visit {visit} may fall during your period. Would one of these days suit you better: {dates}?',
  'cannot-come': 'You told us that you cannot come {visit}. Would one of these days suit you: {dates}?',
  'unclear-reply': 'Thank you for your message. I am calling to make sure that we understood you.',
  'unknown-sender': null,
  contradiction: 'To time your visit well, may I ask again: on what day did your last period start?',
  'not-delivered': 'I am calling about your visit {visit}, to tell you how to get ready. Do you have a moment to listen?',
  'not-told': 'I am calling about your visit {visit}, to tell you how to get ready as far as there is time.',
  'no-consent': 'I am calling about your visit {visit}, to tell you how to get ready. May we also send you messages about it?',
  'short-notice': null,
  'plan-not-kept': 'I am calling about your visit {visit}.',
  'badly-timed': 'Your visit {visit} may fall during your period. Would one of these days suit you better: {dates}?',
  'approve-move': null,
  'visit-moved': null,
  'offer-lapsed': 'We sent you other times for your visit {visit}. Would one of these days suit you better: {dates}?',
  'opted-out': 'You asked for no more messages, so I am calling once, to tell you how to get ready for your visit {visit}.',
  'check-opt-out': 'You wrote to us. Did you mean that you want no more messages, or that you cannot come {visit}?',
  'prep-question': 'Thank you for your question about getting ready. I am calling to answer it.',
  'unexpected-bleeding': 'Thank you for telling us about your bleeding. A clinician would like to speak with you. If it is heavy or you feel unwell, call your local emergency number.',
  clinician: 'Thank you for your message. A clinician would like to speak with you about your visit {visit}. Please keep it, and keep taking what is prescribed.',
  'move-limit': 'I am calling to find a time for your visit that you can keep. Would one of these days suit you: {dates}?',
  'late-period': 'Thank you for telling us about your period. A clinician would like to speak with you about your visit {visit}.',
  'other-language': 'In which language shall we write to you?',
  'send-unknown': 'I am calling to make sure that our message about your visit {visit} reached you.',
}

/** What to say, filled in; null when there is nothing to say to her. @param values words, e.g. "on Tuesday 3 March at 10:20" */
export function wordsToSay(reason: FollowUpReason, values: { visit: string; dates: string }): string | null {
  const words = SAY[reason]
  return words && words.replace('{visit}', values.visit).replace('{dates}', values.dates).replace(/ {2,}/g, ' ')
}
