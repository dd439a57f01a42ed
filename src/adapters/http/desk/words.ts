import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { dateWords } from './when.ts'
import type { Channel, PlannedKind, TextKind } from '../../../domain/messages/texts/kinds.ts'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { CycleHistory, DayForecast, Rating } from '../../../domain/preparation/cycle/history.ts'
import { MESSAGE_KINDS } from '../../../domain/messages/texts/message-kinds.ts'
import type { Message, MessageState } from '../../../domain/messages/message.ts'
import type { PrepStatus } from '../../../domain/preparation/prep-status.ts'
import { noCycleWords } from '../visits/cycle-choices.ts'

/** Words of the screens for what the domain names. */

/** How many texts the network counts a message as: its segments, in a word that a clerk uses. */
export const countedTexts = (segments: number) => (segments === 1 ? '1 text' : `${segments} texts`)

export const TIMING: Record<Rating, string> = {
  best: 'Well timed',
  fine: 'Fine',
  unsure: 'Unsure',
  avoid: 'Days to avoid',
}
/** The same of dates, in the middle of a sentence. */
export const DAYS: Record<Rating, string> = {
  best: 'best days',
  fine: 'fine',
  unsure: 'unsure',
  avoid: 'days to avoid',
}

export const PREPARATION: Record<PrepStatus, string> = {
  'not-needed': 'None needed',
  planned: 'Will be told',
  'on-its-way': 'Sent, not yet confirmed',
  told: 'Told in time',
  'told-late': 'Told late',
  'not-reached': 'Not reached: call',
  'nobody-tells': 'Not told by text: call',
}

/** Standings that a person must make good. */
export const NEEDS_A_CALL: ReadonlySet<PrepStatus> = new Set(['not-reached', 'nobody-tells'])

export const URGENCY = { 1: 'Now', 2: 'Today', 3: 'When convenient' } as const

/** What a message is, e.g. `Preparation, with the confirmation`. */
export const kindWords = ({ kind, confirms }: Pick<Message, 'kind' | 'confirms'>): string =>
  MESSAGE_KINDS[kind].label + (confirms ? ', with the confirmation' : '')

export const MESSAGE_STATE: Record<MessageState, string> = {
  planned: 'planned',
  queued: 'planned',
  sending: 'being sent',
  sent: 'sent, not yet confirmed',
  delivered: 'delivered',
  failed: 'could not be sent',
  expired: 'too late, not sent',
  withdrawn: 'withdrawn, not sent',
  undelivered: 'not delivered',
}

/** Every text that is an answer, and what else may have been done. */
const DONE: Record<Exclude<TextKind, PlannedKind>, string> & Record<string, string> = {
  offered: 'Other times were offered',
  none: 'No opening fitted: the desk was told',
  moved: 'The visit was moved',
  waiting: 'The choice waits for approval',
  confirm: 'Noted',
  'no-change': 'Was told what was noted, and that the visit stays',
  'cannot-offer': 'Was told that the clinic calls',
  unclear: 'Was told that a person reads it',
  'unclear-reply': 'On the call list',
  'unknown-sender': 'On the call list',
  failed: 'Nothing followed: on the call list',
  'offer-changed': 'Was told that the times have changed',
  outdated: 'Nothing: a later text counts',
  died: 'Nothing more is sent; on the call list',
  'asked-which': 'Was asked which visit is meant',
  'asked-long-ago': 'Was asked which visit is meant',
  'named-visit': 'Said which visit was meant',
  lapse: 'Noted for the day sheet',
  stop: 'No more messages are sent',
  stopped: 'No more messages are sent',
  alarm: 'Was asked to call; on the call list',
  'clinician-calls': 'Was told that a clinician calls; on the call list',
  'come-or-call': 'Was asked to call, and to come if it is light; on the call list',
  offer: 'Other times were offered',
  'which-visit': 'Was asked which visit is meant',
  cancelled: 'Was told that the visit is cancelled',
  page: 'Got the address of the private page',
  'move-asked': 'The choice waits for approval',
  help: 'Was told who we are',
  rejoined: 'Gets messages again',
  'wrong-person': 'No more messages are sent: not the number of the patient',
  answer: 'Got the approved answer',
  thanks: 'Nothing to do',
}

/** What Daysix did about a reply. */
export function doneWords(done: string | null): string {
  return done === null ? 'Nothing yet' : (DONE[done] ?? spoken(done))
}

/** `which-visit` → "Which visit". */
export function spoken(code: string): string {
  const words = code.replaceAll('-', ' ')
  return words.charAt(0).toUpperCase() + words.slice(1)
}

/** "about day 9", or nothing where cycles play no part. */
export function cycleDayWords({ cycleDay }: Pick<DayForecast, 'cycleDay'>): string {
  return cycleDay === null ? 'cycle day not known' : `about day ${cycleDay}`
}

/** Whole tenths; a small risk never looks like none, nor a large one like certainty. */
export function chanceWords(probability: number): string {
  if (probability === 0) return 'no chance of a day to avoid'
  if (probability < 0.05) return 'under 1 chance in 20 of a day to avoid'
  return `about ${Math.min(9, Math.max(1, Math.round(probability * 10)))} in 10 for a day to avoid`
}

/** +17825550104 → +1 782 555 0104: groups that can be dialled and read out. */
export function phoneWords(phone: string): string {
  const national = /^\+1(\d{3})(\d{3})(\d{4})$/.exec(phone)
  return national ? `+1 ${national[1]} ${national[2]} ${national[3]}` : phone.replace(/(\d{2,3})(?=(\d{3})+$)/g, '$1 ')
}

/** Birth date and own number, as far as they are known: "born 3 March 1984, no. 48213". */
export function secondWords({ birthDate, ownNumber }: Pick<Patient, 'birthDate' | 'ownNumber'>): string {
  const born = birthDate === undefined ? [] : [`born ${dateWords(birthDate, 'd LLL yyyy')}`]
  return [...born, ...(ownNumber === undefined ? [] : [`no. ${ownNumber}`])].join(', ')
}

/** The first day of the last period as a date, or the words for why there is none. */
export function lmpWords(cycle: CycleHistory): string {
  return noCycleWords(cycle) ?? cycle.lmp ?? 'not known'
}

export const isBooked = ({ state }: Booking) => state === 'booked'

/** Where a message is no text. */
export const byWords = (channel: Channel): string => ({ sms: '', voice: ', by a call', email: ', by e-mail' })[channel]

/** Whom a call is about that is about no patient of ours. */
export const nobodyOfOurs = ({ reason }: Pick<FollowUp, 'reason'>): string =>
  reason === 'schedule-unclear' ? 'An appointment of the schedule' : 'not one of our patients'
