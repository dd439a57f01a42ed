import type { QuestionDates } from './cycle/question.ts'
import type { CalendarDate } from './cycle/history.ts'
import type { PlannedKind, TextKind } from '../messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../messages/texts/message-kinds.ts'
import { withinCaps } from './caps.ts'
import { bestPrepTime, prepDeadline, prepTime } from './deadline.ts'
import { atClock, mayRing, nextAllowed, type SendingHours } from './sending-hours.ts'
import {
  ENOUGH_WAKING_HOURS,
  gaveWay,
  NO_TIME_TO_TELL,
  NOT_ASKED,
  shortNotice,
  TIGHT,
  type PlanWarning,
} from './plan-warnings.ts'
import { wakingHours } from './waking-hours.ts'
import { inZone, otherDay } from '../local-time.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
/** Below this there is no point in telling her: she is on her way. */
const LATE_PREP_ENDS = 2 * HOUR
/** Two messages closer than this come as one heap. */
const APART = 15 * 60_000
/** Two local days, one of which may be an hour short. */
const ASKED_AGAIN_AFTER = 2 * DAY - HOUR
const MIDDAY = '11:00'
const DAY_BEFORE = '17:00'

export interface PlanInput {
  visit: Date
  zone: string
  /** The moment the plan is made. */
  now: Date
  hours: SendingHours
  prepHours: number
  /** What Daysix would like to ask: the LMP, or whether a period has begun (on those dates), or nothing. */
  ask: { kind: 'lmp-question' } | ({ kind: 'cycle-check' } & QuestionDates) | null
  /** What this patient has had, or will have, for this visit time already; not planned again. */
  done: readonly TextKind[]
  /**
   * Preparation goes a day before its usual time: by e-mail, where only the patient can say that it was read, and
   * another way must still be in time.
   */
  early?: boolean
  /** Instants of her other unsolicited messages, past and planned. */
  others: readonly Date[]
}

export interface PlannedMessage {
  kind: PlannedKind
  sendAt: Date
  /** Worthless after this moment: then never sent. */
  notAfter: Date
  /** Counts against the caps. */
  unsolicited: boolean
  /** It says what the confirmation would say, too. */
  confirms?: true
}

export interface PrepPlan {
  messages: PlannedMessage[]
  warnings: PlanWarning[]
}

/** A message that wants a place: its times in order of preference. */
interface Wish {
  kind: PlannedKind
  times: Date[]
  notAfter: (sendAt: Date) => Date
  /** Nothing is missed without it: not a word where there is no room. */
  optional?: true
}

/**
 * Which messages go out for a visit, and when. Preparation comes first, then the question, then the day before, last
 * the question put once more: when the caps leave no room, the least important one gives way, and `warnings` say so.
 */
export function planMessages(input: PlanInput): PrepPlan {
  const warnings: PlanWarning[] = []
  const messages: PlannedMessage[] = confirmation(input)
  const taken = [...input.others]
  for (const wish of [
    ...preparation(input, warnings),
    ...question(input, warnings),
    ...dayBefore(input),
    ...secondQuestion(input),
  ]) {
    if (input.done.includes(wish.kind) || mergesInto(messages, wish, input.zone) || isEarly(messages, wish, input))
      continue
    const sendAt = wish.times.find((time) => time >= input.now && withinCaps(time, taken, input.zone))
    if (!sendAt) {
      if (!wish.optional) warnings.push(gaveWay(wish.kind))
      continue
    }
    if (wish.kind === 'prep' && isTight(input, sendAt)) warnings.push(TIGHT)
    taken.push(sendAt)
    messages.push({ kind: wish.kind, sendAt, notAfter: wish.notAfter(sendAt), unsolicited: true })
  }
  const all = confirmedOnce(messages)
  all.sort((a, b) => a.sendAt.getTime() - b.sendAt.getTime())
  return { messages: all, warnings }
}

/** Confirms what she just did, so the caps leave it alone. */
function confirmation(input: PlanInput): PlannedMessage[] {
  const sendAt = nextAllowed(input.now, input.zone, input.hours)
  const notAfter = earlier(input.visit, new Date(sendAt.getTime() + DAY))
  if (input.done.includes('confirmation') || sendAt >= notAfter) return []
  return [{ kind: 'confirmation', sendAt, notAfter, unsolicited: false }]
}

/**
 * Preparation that is due at the very moment of booking is one message with the confirmation: two would come in any
 * order, and two calls would find the line busy with each other.
 */
function confirmedOnce(messages: readonly PlannedMessage[]): PlannedMessage[] {
  const confirms = messages.find(({ kind }) => kind === 'confirmation')
  const prepares = messages.find(({ kind }) => MESSAGE_KINDS[kind].prepares !== null)
  if (!confirms || !prepares || prepares.sendAt.getTime() - confirms.sendAt.getTime() >= APART) return [...messages]
  return messages.flatMap((each) => {
    if (each === confirms) return []
    return each === prepares ? [{ ...each, confirms: true as const }] : [each]
  })
}

/** Later than usual, and little time to read it before the preparation begins. */
function isTight({ visit, prepHours, zone, hours }: PlanInput, sendAt: Date): boolean {
  const mark = prepDeadline(visit, prepHours)
  return sendAt > bestPrepTime(mark, zone, hours) && wakingHours(sendAt, mark, zone) < ENOUGH_WAKING_HOURS
}

function preparation(input: PlanInput, warnings: PlanWarning[]): Wish[] {
  if (input.prepHours === 0) return []
  const mark = prepDeadline(input.visit, input.prepHours)
  const usual = prepTime(input.now, mark, input.zone, input.hours)
  const best = usual && input.early ? dayEarlier(usual, input) : usual
  if (best) return [{ kind: 'prep', times: [best, ...evenings(best, 2, input)], notAfter: () => mark }]
  return input.done.includes('prep') ? [] : latePreparation(input, warnings)
}

/** At the same hour the day before, where there still is one. */
function dayEarlier(usual: Date, { now, zone, hours }: PlanInput): Date {
  const at = nextAllowed(inZone(usual, zone).minus({ days: 1 }).toJSDate(), zone, hours)
  return at >= now && at < usual ? at : usual
}

/** Booked too late for the full hours: at once if allowed, and honest about it. */
function latePreparation(input: PlanInput, warnings: PlanWarning[]): Wish[] {
  const ends = new Date(input.visit.getTime() - LATE_PREP_ENDS)
  const soonest = nextAllowed(input.now, input.zone, input.hours)
  warnings.push(shortNotice(input.prepHours))
  if (soonest < ends) return [{ kind: 'late-prep', times: [soonest], notAfter: () => ends }]
  warnings.push(NO_TIME_TO_TELL)
  return []
}

/** The same kind of message on earlier evenings: preparation may come a little early, never late. */
function evenings(best: Date, count: number, input: PlanInput): Date[] {
  const local = inZone(best, input.zone)
  return Array.from({ length: count }, (_, back) => atClock(local.minus({ days: back + 1 }), '18:00').toJSDate()).map(
    (at) =>
      mayRing(at, input.zone, input.hours)
        ? at
        : nextAllowed(atClock(inZone(at, input.zone), MIDDAY).toJSDate(), input.zone, input.hours),
  )
}

function question(input: PlanInput, warnings: PlanWarning[]): Wish[] {
  if (!input.ask || input.done.includes(input.ask.kind)) return []
  const mark = prepDeadline(input.visit, input.prepHours)
  const first =
    input.ask.kind === 'lmp-question'
      ? nextAllowed(new Date(input.now.getTime() + DAY), input.zone, input.hours)
      : dayAtMidday(input.ask.on, input)
  const start = first < input.now ? nextAllowed(input.now, input.zone, input.hours) : first
  const times = [0, 1, 2]
    .map((days) => inZone(start, input.zone).plus({ days }).toJSDate())
    .filter((time) => time < mark && mayRing(time, input.zone, input.hours))
  if (times.length === 0 && input.ask.kind === 'lmp-question') warnings.push(NOT_ASKED)
  return times.length === 0
    ? []
    : [{ kind: input.ask.kind, times, notAfter: (sendAt) => earlier(mark, new Date(sendAt.getTime() + DAY)) }]
}

/** The question once more, for whoever has not answered. */
function secondQuestion(input: PlanInput): Wish[] {
  if (input.ask?.kind !== 'cycle-check' || input.ask.again === null) return []
  const at = dayAtMidday(input.ask.again, input)
  const notAfter = (sendAt: Date) =>
    earlier(prepDeadline(input.visit, input.prepHours), new Date(sendAt.getTime() + DAY))
  return at < notAfter(at) ? [{ kind: 'cycle-check-again', times: [at], notAfter, optional: true }] : []
}

function dayAtMidday(date: CalendarDate, input: PlanInput): Date {
  const [year, month, day] = date.split('-').map(Number)
  const local = inZone(input.visit, input.zone).set({ year: year!, month: month!, day: day!, hour: 12 })
  return nextAllowed(atClock(local, MIDDAY).toJSDate(), input.zone, input.hours)
}

/** "Tomorrow" must be read the day before, or not at all. The eve is a date, whatever the clocks did in between. */
function dayBefore(input: PlanInput): Wish[] {
  const visit = inZone(input.visit, input.zone)
  const eve = otherDay(visit, -1)
  const dayBegins = earlier(input.visit, visit.startOf('day').toJSDate())
  const at = atClock(eve, DAY_BEFORE).toJSDate()
  const sendAt = mayRing(at, input.zone, input.hours)
    ? at
    : nextAllowed(eve.startOf('day').toJSDate(), input.zone, input.hours)
  if (sendAt < input.now || sendAt >= dayBegins) return []
  return [{ kind: 'day-before', times: [sendAt], notAfter: () => dayBegins }]
}

/** Preparation names the visit's time too: on the same day it makes the day-before message superfluous. */
function mergesInto(messages: PlannedMessage[], wish: Wish, zone: string): boolean {
  if (wish.kind !== 'day-before') return false
  const day = (at: Date) => inZone(at, zone).toISODate()
  return messages.some(
    ({ kind, sendAt }) => MESSAGE_KINDS[kind].prepares !== null && day(sendAt) === day(wish.times[0]!),
  )
}

/** A question is put again only some time after it was put; it may have had to wait for a place, or found none. */
function isEarly(messages: readonly PlannedMessage[], { kind, times }: Wish, { done }: PlanInput): boolean {
  if (kind !== 'cycle-check-again') return false
  const first = messages.find((each) => each.kind === 'cycle-check')
  return first ? times[0]!.getTime() - first.sendAt.getTime() < ASKED_AGAIN_AFTER : !done.includes('cycle-check')
}

function earlier(a: Date, b: Date): Date {
  return a < b ? a : b
}
