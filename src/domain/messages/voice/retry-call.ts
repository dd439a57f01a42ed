import { atClock, nextAllowed, type SendingHours } from '../../preparation/sending-hours.ts'
import { inZone } from '../../local-time.ts'
import type { Channel } from '../texts/kinds.ts'

/** Calls in all for one message; then a person calls. A choice of ours: three tries at different hours, no source. */
export const MOST_CALLS = 3
/** At least this long between two calls. */
const APART_MS = 2 * 3_600_000
/** Parts of the day in which somebody is reached or not: morning, afternoon, evening. Common practice, no source. */
const PARTS = ['12:00', '17:00', '24:00'] as const

/** Ends of a call that say only that the patient was not reached this time. */
export const NOT_REACHED: ReadonlySet<string> = new Set([
  'busy',
  'no-answer',
  'unavailable',
  'hung-up',
  'no-key',
  'voicemail',
  'machine',
  'call-broken',
])

/** Whether the outcome of a call says that the patient was not reached, rather than anything about the gateway. */
export function isAboutHer({ channel }: { channel: Channel }, outcome: { kind: string; code?: string }): boolean {
  return channel === 'voice' && outcome.code !== undefined && NOT_REACHED.has(outcome.code)
}

/**
 * What follows a call that did not reach the patient: another in a different part of the day, as soon as sending hours
 * allow, and two hours later at least; where no other part comes before the message is worthless, later in the same
 * one.
 *
 * @param code why the call ended, as an outcome or a receipt has it.
 * @param calls calls made so far, this one included.
 * @param now when the last one ended.
 * @returns when to call again, or `give-up` for the call list; undefined when the code says nothing about the patient
 *   (the line
 *   is down, the number does not exist): then the usual table of outcomes decides.
 */
export function afterCall(
  code: string | undefined,
  { calls, notAfter }: { calls: number; notAfter: Date },
  now: Date,
  zone: string,
  hours: SendingHours,
): { again: Date } | 'give-up' | undefined {
  if (code === undefined || !NOT_REACHED.has(code)) return undefined
  if (calls >= MOST_CALLS) return 'give-up'
  const apart = new Date(now.getTime() + APART_MS)
  const elsewhen = nextAllowed(later(apart, nextPart(now, zone)), zone, hours)
  const again = elsewhen < notAfter ? elsewhen : nextAllowed(apart, zone, hours)
  return again < notAfter ? { again } : 'give-up'
}

/** When the next part of the day begins on the patient's clock. */
function nextPart(now: Date, zone: string): Date {
  const local = inZone(now, zone)
  const end = PARTS.map((clock) => atClock(local, clock)).find((at) => at > local)!
  return end.toJSDate()
}

function later(a: Date, b: Date): Date {
  return a > b ? a : b
}
