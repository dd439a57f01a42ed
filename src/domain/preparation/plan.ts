import type { CalendarDate } from './cycle/history.ts'
import type { TextKind } from '../messages/texts/kinds.ts'
import { withinCaps } from './caps.ts'
import { prepDeadline, prepTime } from './deadline.ts'
import { atClock, mayRing, nextAllowed, type SendingHours } from './sending-hours.ts'
import { inZone } from '../local-time.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
/** Below this there is no point in telling her: she is on her way. */
const LATE_PREP_ENDS = 2 * HOUR
const MIDDAY = '11:00'
const DAY_BEFORE = '17:00'

export interface PlanInput {
  visit: Date
  zone: string
  /** The moment the plan is made. */
  now: Date
  hours: SendingHours
  prepHours: number
  /** What Daysix would like to ask: the LMP, or whether a period has begun (on that date), or nothing. */
  ask: { kind: 'lmp-question' } | { kind: 'cycle-check'; on: CalendarDate } | null
  /** What this patient has had, or will have, for this visit time already; not planned again. */
  done: readonly TextKind[]
  /** Instants of her other unsolicited messages, past and planned. */
  others: readonly Date[]
}

export interface PlannedMessage {
  kind: TextKind
  sendAt: Date
  /** Worthless after this moment: then never sent. */
  notAfter: Date
  /** Counts against the caps. */
  unsolicited: boolean
}

export type PlanWarning = {
  code: 'short-notice' | 'no-time-to-tell' | 'cap-reached' | 'nobody-tells'
  kind: TextKind
  message: string
}

export interface PrepPlan {
  messages: PlannedMessage[]
  warnings: PlanWarning[]
}

/** A message that wants a place: its times in order of preference. */
interface Wish {
  kind: TextKind
  times: Date[]
  notAfter: (sendAt: Date) => Date
}

/**
 * Which messages go out for a visit, and when. Preparation comes first, then the question, then the day before, so that
 * when the caps leave no room it is the least important one that gives way; what gives way is said in `warnings`.
 */
export function planMessages(input: PlanInput): PrepPlan {
  const warnings: PlanWarning[] = []
  const messages: PlannedMessage[] = confirmation(input)
  const taken = [...input.others]
  for (const wish of [...preparation(input, warnings), ...question(input), ...dayBefore(input)]) {
    if (input.done.includes(wish.kind) || mergesInto(messages, wish, input.zone)) continue
    const sendAt = wish.times.find((time) => time >= input.now && withinCaps(time, taken, input.zone))
    if (!sendAt) {
      warnings.push(gaveWay(wish.kind))
      continue
    }
    taken.push(sendAt)
    messages.push({ kind: wish.kind, sendAt, notAfter: wish.notAfter(sendAt), unsolicited: true })
  }
  messages.sort((a, b) => a.sendAt.getTime() - b.sendAt.getTime())
  return { messages, warnings }
}

/** Confirms what she just did, so the caps leave it alone. */
function confirmation(input: PlanInput): PlannedMessage[] {
  const sendAt = nextAllowed(input.now, input.zone, input.hours)
  const notAfter = earlier(input.visit, new Date(sendAt.getTime() + DAY))
  if (input.done.includes('confirmation') || sendAt >= notAfter) return []
  return [{ kind: 'confirmation', sendAt, notAfter, unsolicited: false }]
}

function preparation(input: PlanInput, warnings: PlanWarning[]): Wish[] {
  if (input.prepHours === 0) return []
  const mark = prepDeadline(input.visit, input.prepHours)
  const best = prepTime(input.now, mark, input.zone, input.hours)
  if (best) return [{ kind: 'prep', times: [best, ...evenings(best, 2, input)], notAfter: () => mark }]
  return input.done.includes('prep') ? [] : latePreparation(input, warnings)
}

/** Booked too late for the full hours: at once if allowed, and honest about it. */
function latePreparation(input: PlanInput, warnings: PlanWarning[]): Wish[] {
  const ends = new Date(input.visit.getTime() - LATE_PREP_ENDS)
  const soonest = nextAllowed(input.now, input.zone, input.hours)
  warnings.push({
    code: 'short-notice',
    kind: 'late-prep',
    message: `Booked too late for the full ${input.prepHours} hours of preparation: the visit will be marked as not fully prepared.`,
  })
  if (soonest < ends) return [{ kind: 'late-prep', times: [soonest], notAfter: () => ends }]
  warnings.push({
    code: 'no-time-to-tell',
    kind: 'late-prep',
    message: 'There is no time within sending hours to tell the patient: call her, or ask about preparation at the visit.',
  })
  return []
}

/** The same kind of message on earlier evenings: preparation may come a little early, never late. */
function evenings(best: Date, count: number, input: PlanInput): Date[] {
  const local = inZone(best, input.zone)
  return Array.from({ length: count }, (_, back) => atClock(local.minus({ days: back + 1 }), '18:00').toJSDate()).map((at) =>
    mayRing(at, input.zone, input.hours) ? at : nextAllowed(atClock(inZone(at, input.zone), MIDDAY).toJSDate(), input.zone, input.hours),
  )
}

function question(input: PlanInput): Wish[] {
  if (!input.ask) return []
  const mark = prepDeadline(input.visit, input.prepHours)
  const first =
    input.ask.kind === 'lmp-question'
      ? nextAllowed(new Date(input.now.getTime() + DAY), input.zone, input.hours)
      : dayAtMidday(input.ask.on, input)
  const start = first < input.now ? nextAllowed(input.now, input.zone, input.hours) : first
  const times = [0, 1, 2]
    .map((days) => inZone(start, input.zone).plus({ days }).toJSDate())
    .filter((time) => time < mark && mayRing(time, input.zone, input.hours))
  return times.length === 0 ? [] : [{ kind: input.ask.kind, times, notAfter: (sendAt) => earlier(mark, new Date(sendAt.getTime() + DAY)) }]
}

function dayAtMidday(date: CalendarDate, input: PlanInput): Date {
  const [year, month, day] = date.split('-').map(Number)
  const local = inZone(input.visit, input.zone).set({ year: year!, month: month!, day: day! })
  return nextAllowed(atClock(local, MIDDAY).toJSDate(), input.zone, input.hours)
}

/** "Tomorrow" must be read the day before, or not at all. */
function dayBefore(input: PlanInput): Wish[] {
  const eve = inZone(input.visit, input.zone).minus({ days: 1 })
  const at = atClock(eve, DAY_BEFORE).toJSDate()
  const sendAt = mayRing(at, input.zone, input.hours) ? at : nextAllowed(eve.startOf('day').toJSDate(), input.zone, input.hours)
  if (sendAt < input.now) return []
  return [{ kind: 'day-before', times: [sendAt], notAfter: () => eve.startOf('day').plus({ days: 1 }).toJSDate() }]
}

/** Preparation names the visit's time too: on the same day it makes the day-before message superfluous. */
function mergesInto(messages: PlannedMessage[], wish: Wish, zone: string): boolean {
  if (wish.kind !== 'day-before') return false
  const day = (at: Date) => inZone(at, zone).toISODate()
  return messages.some(({ kind, sendAt }) => (kind === 'prep' || kind === 'late-prep') && day(sendAt) === day(wish.times[0]!))
}

function gaveWay(kind: TextKind): PlanWarning {
  return {
    code: 'cap-reached',
    kind,
    message: `No room for "${kind}": at most one message a day and three a week go to a patient. Tell her by telephone if it matters.`,
  }
}

function earlier(a: Date, b: Date): Date {
  return a < b ? a : b
}
