/**
 * What the desk must do, and how urgent it is (1 = now, 2 = today, 3 = when convenient).
 * `todo` says it in a sentence a clerk can act on.
 */
export const FOLLOW_UP_REASONS = {
  alarm: { urgency: 1, todo: 'Call her now. Her words may mean that she needs care: let a clinician hear them.' },
  'wrong-person': { urgency: 1, todo: 'This number is not hers. Find the right one; nothing more is sent to this number.' },
  died: { urgency: 1, todo: 'Somebody wrote that the patient has died. Nothing more is sent. Look into the record, call with tact, and cancel what is booked.' },
  'unexpected-bleeding': { urgency: 1, todo: 'What the patient writes of bleeding may be more than a period that began. The visit stays. Let a clinician call now.' },
  lapse: { urgency: 2, todo: 'Preparation did not go as asked. Ask a clinician whether to keep the visit, and call her.' },
  'no-opening': { urgency: 2, todo: 'Her visit is badly timed and no opening fits. Call her and agree on one of the good dates.' },
  'cannot-come': { urgency: 2, todo: 'She cannot come and no opening fits. Call her and agree on another time.' },
  'unclear-reply': { urgency: 2, todo: 'Read her reply and call her if it needs an answer.' },
  'unknown-sender': { urgency: 3, todo: 'A text from a number that belongs to no patient. Read it; correct a number if you know whose it is.' },
  contradiction: { urgency: 2, todo: 'Her dates contradict what was recorded. Ask her again for the first day of her last period.' },
  'not-delivered': { urgency: 2, todo: 'She may not have been told how to prepare. Call her and tell her.' },
  'not-told': { urgency: 2, todo: 'Booked too late to be told in time. Call her, or ask about preparation at the visit.' },
  'no-consent': { urgency: 2, todo: 'She has not agreed to messages. Tell her by telephone how to prepare.' },
  'short-notice': { urgency: 3, todo: 'Booked too late for full preparation. Ask about it at the visit.' },
  'plan-not-kept': { urgency: 3, todo: 'A message found no place within the daily and weekly limits. Tell her by telephone if it matters.' },
  'badly-timed': { urgency: 2, todo: 'The visit probably falls on days to avoid. Offer her a better time.' },
  'approve-move': { urgency: 2, todo: 'She chose another time. Approve or decline the move.' },
  'visit-moved': { urgency: 3, todo: 'She moved her visit herself. Enter the new time wherever else you keep it.' },
  'offer-lapsed': { urgency: 2, todo: 'She did not answer the offer of better times; they are free again. Call her.' },
  'opted-out': { urgency: 2, todo: 'She asked for no more messages. Tell her by telephone how to prepare.' },
  'check-opt-out': { urgency: 2, todo: 'Her text was taken as a wish for no more messages, but may have meant the visit. Call and ask.' },
  'prep-question': { urgency: 2, todo: 'She asked about preparation. Answer by telephone.' },
  clinician: { urgency: 2, todo: 'The patient wrote something that a clinician should hear. The visit stays. Let a clinician call today.' },
  'move-limit': { urgency: 2, todo: 'The visit has been moved twice by the patient, or would fall over six weeks after its first time: no more is offered by text. Call and agree on a time.' },
  'late-period': { urgency: 2, todo: 'Her period is later than expected. Ask a clinician to call her.' },
  'other-language': { urgency: 3, todo: 'She wrote in another language than the one recorded. Ask which she prefers.' },
  'send-unknown': { urgency: 2, todo: 'A message may or may not have reached her (the connection broke). Call and make sure.' },
} as const satisfies Record<string, { urgency: 1 | 2 | 3; todo: string }>

export type FollowUpReason = keyof typeof FOLLOW_UP_REASONS

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
