import { DateTime } from 'luxon'
import { badInput, Failure } from '../domain/failure.ts'
import { drawCalendar } from '../domain/preparation/cycle/calendar.ts'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import { questionFor } from '../domain/preparation/cycle/question.ts'
import { dayNumber } from '../domain/preparation/cycle/days.ts'
import { forecastDays } from '../domain/preparation/cycle/forecast.ts'
import type { CalendarDate, CycleHistory } from '../domain/preparation/cycle/history.ts'
import { windowWords } from '../domain/preparation/cycle/window-words.ts'
import { cycleWindows } from '../domain/preparation/cycle/windows.ts'
import { judgeDate } from '../domain/preparation/cycle/judge.ts'
import type { Timing } from '../domain/preparation/cycle/timing.ts'
import { historyLine, latestOf, protocolNamed, toHistory } from './cycle-fields.ts'

const MOST_MONTHS = 12

export interface CalendarOptions {
  lmp: string
  about?: number
  usual?: number
  past?: number[]
  age?: number
  irregular?: true
  scheduled?: true
  notStartedBy?: string
  visit?: string
  from?: string
  months: number
  protocol: string
}

/** Prints the calendar, what to make of the visit, and what cannot be right. Returns the exit code. */
export function printCalendar(options: CalendarOptions, timings: ReadonlyMap<string, Timing>): number {
  try {
    console.log(calendarFor(options, protocolNamed(options.protocol, timings)))
    return 0
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    console.error(`${error.detail.field}: ${error.detail.message}`)
    return 2
  }
}

function calendarFor(options: CalendarOptions, timing: Timing): string {
  const history = historyOf(options)
  const asOf = options.notStartedBy ?? history.lmp ?? today()
  const from = options.from ?? asOf
  const days = forecastDays(history, { from, to: endOfMonths(from, options.months) }, timing)
  const faults = checkHistory(history, latestOf(history)).map(({ field, message }) => `Check ${field}: ${message}`)
  const judged = options.visit === undefined ? [] : adviceOn(history, options.visit, asOf, timing)
  const windows = cycleWindows(history, timing, asOf).map((each) => `Collection window: ${windowWords(each)}`)
  return [drawCalendar(days, options.visit), '', ...windows, ...judged, ...faults].join('\n')
}

function adviceOn(history: CycleHistory, visit: CalendarDate, asOf: CalendarDate, timing: Timing): string[] {
  const ask = questionFor({ history, visit, asOf, protocol: timing })
  return [
    '',
    judgeDate(history, visit, timing, asOf).reason,
    ...(ask === null ? [] : [`Best day to ask the patient whether the period has begun: ${ask.on}`]),
  ]
}

function historyOf(options: CalendarOptions): CycleHistory {
  const parsed = historyLine.safeParse({
    lmp: options.lmp,
    lmpGiveDays: options.about,
    usualCycleDays: options.usual,
    pastCycleDays: options.past,
    age: options.age,
    regularity: options.irregular && 'irregular',
    scheduledBleeds: options.scheduled,
    notStartedBy: options.notStartedBy,
  })
  return parsed.success
    ? toHistory(parsed.data)
    : badInput(parsed.error.issues[0]!.path.join('.'), parsed.error.issues[0]!.message)
}

/** The last day of the month so many months on, the first one counted. */
function endOfMonths(from: CalendarDate, months: number): CalendarDate {
  dayNumber(from, 'from')
  const first = DateTime.fromISO(from, { zone: 'utc' }).startOf('month')
  return first
    .plus({ months: Math.min(MOST_MONTHS, Math.max(1, months)) })
    .minus({ days: 1 })
    .toISODate()!
}

function today(): CalendarDate {
  return DateTime.now().toISODate()
}
