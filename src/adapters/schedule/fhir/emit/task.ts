import type { FollowUp, FollowUpReason } from '../../../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../../../domain/calls/follow-up-reasons.ts'
import { toFhirId } from './fhir-id.ts'
import { instantOf, placeOf, type Written } from './resource.ts'

/** What a clerk must do, in words that tell nothing of why. */
const TO_DO = {
  'call-at-once': 'Call the patient at once: the call list says why and what to say.',
  call: 'Call the patient: the call list says why and what to say.',
  look: 'Look at the call list: somebody must see to this.',
  'enter-time': 'The patient has another time in view: see the call list, and enter it in your own schedule.',
  'approve-move': 'Approve or decline the time that the patient chose.',
} as const
export type ToDo = keyof typeof TO_DO

const OF_TIMES: Partial<Record<FollowUpReason, ToDo>> = {
  'enter-move': 'enter-time',
  'visit-moved': 'enter-time',
  'approve-move': 'approve-move',
}

/** Which of few things is to be done: reasons themselves would tell of bleeding, or of what a patient wrote. */
export function toDo(reason: FollowUpReason): ToDo {
  const { urgency, say } = FOLLOW_UP_REASONS[reason]
  if (OF_TIMES[reason]) return OF_TIMES[reason]
  if (urgency === 1) return 'call-at-once'
  return say === null ? 'look' : 'call'
}

/** R4 `request-priority`. */
const PRIORITIES = { 1: 'stat', 2: 'urgent', 3: 'routine' } as const

/** R4 `Task`: an open call. */
export function taskOf(followUp: FollowUp, clinic: { id: string; name: string } | null): Written {
  const { id, reason, bookingId, openedAt } = followUp
  const code = toDo(reason)
  return {
    resourceType: 'Task',
    id: toFhirId(id),
    status: 'requested',
    intent: 'order',
    priority: PRIORITIES[FOLLOW_UP_REASONS[reason].urgency],
    code: { coding: [{ code }], text: TO_DO[code] },
    ...(bookingId !== null && { focus: { reference: `Appointment/${toFhirId(bookingId)}` } }),
    authoredOn: instantOf(openedAt),
    ...(clinic && { location: placeOf(clinic) }),
  }
}
