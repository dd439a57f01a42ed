import type { Booking } from '../../../domain/visits/booking.ts'
import type { DayForecast, Rating } from '../../../domain/preparation/cycle/history.ts'
import type { MessageState } from '../../../domain/messages/message.ts'
import type { PrepStatus } from '../../../domain/preparation/prep-status.ts'
import type { Meaning } from '../../../domain/replies/reading.ts'
import type { TextKind } from '../../../domain/messages/texts/kinds.ts'

/** Words of the screens for what the domain names. */

export const TIMING: Record<Rating, string> = { best: 'Well timed', fine: 'Fine', unsure: 'Unsure', avoid: 'Days to avoid' }
/** The same of dates, in the middle of a sentence. */
export const DAYS: Record<Rating, string> = { best: 'best days', fine: 'fine', unsure: 'unsure', avoid: 'days to avoid' }

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

export const MEANING: Record<Meaning, string> = {
  'period-started': 'The period has started',
  'not-started': 'The period has not started',
  'still-bleeding': 'The patient is still bleeding',
  'bleeding-ended': 'The bleeding has ended',
  confirm: 'The patient will come',
  'cannot-come': 'The patient cannot come',
  choice: 'The patient chose a time on offer',
  stop: 'The patient wants no more messages',
  help: 'The patient asks who we are',
  rejoin: 'The patient wants messages again',
  'prep-question': 'A question about preparation',
  'prep-lapse': 'Preparation did not go as asked',
  urgent: 'Alarming words',
  'wrong-person': "Not the patient's number",
  died: 'The patient has died',
  thanks: 'Thanks',
  unclear: 'Unclear',
}

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

const DONE: Record<string, string> = {
  offered: 'Other times were offered',
  none: 'No opening fitted: the desk was told',
  moved: 'The visit was moved',
  waiting: 'The choice waits for approval',
  confirm: 'Noted',
  'no-change': 'Was told that the visit stays',
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
  answer: 'Got the approved answer',
  thanks: 'Nothing to do',
}

/** What Daysix did about a reply. */
export function doneWords(done: string | null): string {
  return done === null ? 'Nothing yet' : (DONE[done] ?? spoken(done))
}

export function kindWords(kind: TextKind): string {
  return { prep: 'Preparation', 'late-prep': 'Preparation, late', 'lmp-question': 'Question: last period' }[kind as string] ?? spoken(kind)
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

export function lmpWords({ status, lmp }: { status: string; lmp?: string }): string {
  if (status === 'no-periods') return 'no periods'
  return lmp ?? 'not known'
}

export const isBooked = ({ state }: Booking) => state === 'booked'
