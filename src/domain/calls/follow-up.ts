import type { ReasonToCall } from './reason-to-call.ts'

/** Why the desk must do something. A reason is stated here, and nowhere else. */
export const FOLLOW_UP_REASONS = {
  alarm: {
    urgency: 1, once: 'never', settledBy: 'person', ask: 'clinician',
    title: 'Alarming words',
    todo: 'Call the patient now. The words may mean that care is needed: let a clinician hear ' +
      'them.',
    say: 'You wrote to us and I am calling at once. How are you now? I will fetch a clinician ' +
      'to speak with you. If it gets worse, call your local emergency number.',
  },
  'wrong-person': {
    urgency: 1, once: 'number', settledBy: 'person', ask: null,
    title: 'Wrong person',
    todo: "This number is not the patient's. Find the right one; nothing more is sent to this " +
      'number.',
    say: null,
  },
  died: {
    urgency: 1, once: 'number', settledBy: 'person', ask: null,
    title: 'Died',
    todo: 'Somebody wrote that the patient has died. Nothing more is sent. Look into the ' +
      'record, call with tact, and cancel what is booked.',
    say: null,
  },
  'unexpected-bleeding': {
    urgency: 1, once: 'never', settledBy: 'person', ask: 'clinician',
    title: 'Unexpected bleeding',
    todo: 'What the patient writes of bleeding may be more than a period that began. The visit ' +
      'stays. Let a clinician call now.',
    say: 'Thank you for telling us about your bleeding. A clinician would like to speak with ' +
      'you. If it is heavy or you feel unwell, call your local emergency number.',
  },
  lapse: {
    urgency: 2, once: 'never', settledBy: 'person', ask: null,
    title: 'Preparation lapse',
    todo: 'Preparation did not go as asked. Ask a clinician whether to keep the visit, and call ' +
      'the patient.',
    say: 'Thank you for telling us. It happens. Please still plan to come {visit}; I will ask ' +
      'a clinician and call you if another day is better.',
  },
  'no-opening': {
    urgency: 2, once: 'visit', settledBy: 'new-time', ask: null,
    title: 'No opening',
    todo: 'The visit is badly timed and no opening fits. Call the patient and agree on one of ' +
      'the good dates.',
    say: 'Your visit {visit} may fall during your period. Would one of these days suit you ' +
      'better: {dates}?',
  },
  'cannot-come': {
    urgency: 2, once: 'never', settledBy: 'new-time', ask: null,
    title: 'Cannot come',
    todo: 'The patient cannot come and no opening fits. Call and agree on another time.',
    say: 'You told us that you cannot come {visit}. Would one of these days suit you: {dates}?',
  },
  'unclear-reply': {
    urgency: 2, once: 'never', settledBy: 'person', ask: 'words',
    title: 'Unclear reply',
    todo: 'Read the reply and call the patient if it needs an answer.',
    say: 'Thank you for your message. I am calling to make sure that we understood you.',
  },
  'unknown-sender': {
    urgency: 3, once: 'never', settledBy: 'person', ask: null,
    title: 'Unknown sender',
    todo: 'A text from a number that belongs to no patient. Read it; correct a number if you ' +
      'know whose it is.',
    say: null,
  },
  contradiction: {
    urgency: 2, once: 'never', settledBy: 'person', ask: 'dates',
    title: 'Contradicting dates',
    todo: 'The dates told contradict what was recorded. Ask the patient again for the first day ' +
      'of the last period.',
    say: 'To time your visit well, may I ask again: on what day did your last period start?',
  },
  'not-delivered': {
    urgency: 2, once: 'visit', settledBy: 'end-of-visit', ask: null,
    title: 'Not delivered',
    todo: 'A message that matters did not reach the patient: how to prepare, another time, or ' +
      'what the desk wrote. Call and tell.',
    say: 'I am calling about your visit {visit}, to tell you how to get ready. Do you have a ' +
      'moment to listen?',
  },
  'text-lost': {
    urgency: 2, once: 'never', settledBy: 'person', ask: null,
    title: 'Text of the desk not delivered',
    todo: 'What the desk wrote may not have reached the patient. Look at the conversation, and call.',
    say: 'We wrote to you, and I am calling because our message may not have reached you.',
  },
  'not-told': {
    urgency: 2, once: 'visit', settledBy: 'new-time', ask: null,
    title: 'Not told',
    todo: 'Booked too late to be told in time. Call the patient, or ask about preparation at ' +
      'the visit.',
    say: 'I am calling about your visit {visit}, to tell you how to get ready as far as there ' +
      'is time.',
  },
  'no-consent': {
    urgency: 2, once: 'visit', settledBy: 'end-of-visit', ask: null,
    title: 'No consent',
    todo: 'The patient has not agreed to messages. Tell by telephone how to prepare.',
    say: 'I am calling about your visit {visit}, to tell you how to get ready. May we also ' +
      'send you messages about it?',
  },
  'short-notice': {
    urgency: 3, once: 'visit', settledBy: 'new-time', ask: null,
    title: 'Short notice',
    todo: 'Booked too late for full preparation. Ask about it at the visit.',
    say: null,
  },
  'plan-not-kept': {
    urgency: 3, once: 'visit', settledBy: 'end-of-visit', ask: null,
    title: 'Message without a place',
    todo: 'A message found no place within the daily and weekly limits. Tell the patient by ' +
      'telephone if it matters.',
    say: 'I am calling about your visit {visit}.',
  },
  'badly-timed': {
    urgency: 2, once: 'visit', settledBy: 'new-time', ask: null,
    title: 'Badly timed',
    todo: 'The visit probably falls on days to avoid. Offer the patient a better time.',
    say: 'Your visit {visit} may fall during your period. Would one of these days suit you ' +
      'better: {dates}?',
  },
  'approve-move': {
    urgency: 2, once: 'never', settledBy: 'new-time', ask: null,
    title: 'Move to approve',
    todo: 'The patient chose another time. Approve or decline the move.',
    say: null,
  },
  'visit-moved': {
    urgency: 3, once: 'never', settledBy: 'end-of-visit', ask: null,
    title: 'The patient moved the visit',
    todo: 'The patient has moved the visit. Enter the new time wherever else you keep it.',
    say: null,
  },
  'offer-lapsed': {
    urgency: 2, once: 'visit', settledBy: 'new-time', ask: null,
    title: 'Offer not answered',
    todo: 'The patient did not answer the offer of better times; they are free again. Call.',
    say: 'We sent you other times for your visit {visit}. Would one of these days suit you ' +
      'better: {dates}?',
  },
  'opted-out': {
    urgency: 2, once: 'visit', settledBy: 'end-of-visit', ask: null,
    title: 'Opted out',
    todo: 'The patient asked for no more messages. Tell by telephone how to prepare.',
    say: 'You asked for no more messages, so I am calling once, to tell you how to get ready ' +
      'for your visit {visit}.',
  },
  'check-opt-out': {
    urgency: 2, once: 'never', settledBy: 'person', ask: null,
    title: 'Opt-out to check',
    todo: 'The text was taken as a wish for no more messages, but may have meant the visit. ' +
      'Call and ask.',
    say: 'You wrote to us. Did you mean that you want no more messages, or that you cannot ' +
      'come {visit}?',
  },
  'prep-question': {
    urgency: 2, once: 'never', settledBy: 'person', ask: 'words',
    title: 'Question about preparation',
    todo: 'The patient asked about preparation. Answer by telephone.',
    say: 'Thank you for your question about getting ready. I am calling to answer it.',
  },
  clinician: {
    urgency: 2, once: 'never', settledBy: 'person', ask: 'clinician',
    title: 'For a clinician',
    todo: 'The patient wrote something that a clinician should hear. The visit stays. Let a ' +
      'clinician call today.',
    say: 'Thank you for your message. A clinician would like to speak with you about your ' +
      'visit {visit}. Please keep it, and keep taking what is prescribed.',
  },
  'move-limit': {
    urgency: 2, once: 'visit', settledBy: 'new-time', ask: null,
    title: 'Move limit',
    todo: 'The visit has been moved twice by the patient, or would fall over six weeks after ' +
      'its first time: no more is offered by text. Call and agree on a time.',
    say: 'I am calling to find a time for your visit that you can keep. Would one of these ' +
      'days suit you: {dates}?',
  },
  'late-period': {
    urgency: 2, once: 'never', settledBy: 'person', ask: 'clinician',
    title: 'Late period',
    todo: 'The period is later than expected. Ask a clinician to call the patient.',
    say: 'Thank you for telling us about your period. A clinician would like to speak with you ' +
      'about your visit {visit}.',
  },
  'other-language': {
    urgency: 3, once: 'never', settledBy: 'person', ask: 'language',
    title: 'Other language',
    todo: 'The patient wrote in another language than the one recorded. Ask which is preferred.',
    say: 'In which language shall we write to you?',
  },
  'send-unknown': {
    urgency: 2, once: 'never', settledBy: 'end-of-visit', ask: null,
    title: 'Perhaps not reached',
    todo: 'A message may or may not have reached the patient (the connection broke). Call and ' +
      'make sure.',
    say: 'I am calling to make sure that our message about your visit {visit} reached you.',
  },
} as const satisfies Record<string, ReasonToCall>

export type FollowUpReason = keyof typeof FOLLOW_UP_REASONS

/** What happens to a visit that may end calls about it. */
export type VisitChange = 'new-time' | 'end-of-visit'

/** Whether a call for this reason is pointless once this has happened to its visit. */
export function isSettledBy(reason: FollowUpReason, change: VisitChange): boolean {
  const { settledBy } = FOLLOW_UP_REASONS[reason]
  return settledBy === change || (settledBy === 'new-time' && change === 'end-of-visit')
}

/** The reasons that are pointless then. */
export function reasonsSettledBy(change: VisitChange): FollowUpReason[] {
  const reasons = Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]
  return reasons.filter((reason) => isSettledBy(reason, change))
}

export interface FollowUp {
  id: string
  reason: FollowUpReason
  clinicId: string | null
  bookingId: string | null
  patientId: string | null
  phone: string | null
  /**
   * The patient's words, good dates, planned kinds: whatever the clerk needs to act. `reply`: id of the reply it was opened
   * on, by which a correction of that reply finds it.
   */
  detail: Record<string, unknown>
  openedAt: Date
  closedAt: Date | null
  closedBy: string | null
  outcome: string | null
}
