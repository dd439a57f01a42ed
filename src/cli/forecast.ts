import { Command, InvalidArgumentError } from 'commander'
import { DateTime } from 'luxon'
import { z } from 'zod'
import { drawCalendar, FORECAST_CAUTION } from '../domain/preparation/cycle/calendar.ts'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import { cycleCheckDate } from '../domain/preparation/cycle/cycle-check.ts'
import { calendarDate, dayNumber, daysBetween } from '../domain/preparation/cycle/days.ts'
import type { HistoryFault } from '../domain/preparation/cycle/evidence.ts'
import { forecastDays } from '../domain/preparation/cycle/forecast.ts'
import type { CalendarDate, CycleHistory, DayForecast } from '../domain/preparation/cycle/history.ts'
import { judgeVisit } from '../domain/preparation/cycle/judge.ts'
import { USUAL_TIMING } from '../domain/preparation/cycle/timing.ts'
import { badInput, Failure } from '../domain/failure.ts'
import { answerLines } from './json-lines.ts'

const LONGEST_RANGE_DAYS = 400
const MOST_MONTHS = 12
const date = z.iso.date('Write the date as year-month-day, e.g. 2026-03-02.')

/** The fields of a line that say what is known of the cycles; `lmp` may also be "unknown" or "no-periods". */
export const historyFields = {
  lmp: z.union(
    [date, z.enum(['unknown', 'no-periods', 'no periods'])],
    'Give a date as year-month-day, "unknown" or "no-periods".',
  ),
  lmpGiveDays: z.number().min(0).max(60).optional(),
  toldOn: date.optional(),
  usualCycleDays: z.number().min(10, 'Give the usual length in days.').max(200, 'Give the usual length in days.').nullish(),
  regularity: z.enum(['regular', 'irregular']).nullish(),
  scheduledBleeds: z.boolean().nullish(),
  pastCycleDays: z.array(z.number().positive()).max(500).nullish(),
  pastStarts: z.array(date).max(500).nullish(),
  age: z.number().min(0).max(120).nullish(),
  startedOn: date.nullish(),
  notStartedBy: date.nullish(),
  endedOn: date.nullish(),
  stillBleedingOn: date.nullish(),
}
const historyLine = z.object(historyFields)
const line = z.object({ id: z.union([z.string(), z.number()]), ...historyFields, from: date, to: date })

/** `daysix forecast`: JSON lines in, the forecast of each date out; with `--calendar` a picture for a person. */
export function command(): Command {
  return new Command('forecast')
    .description('Which dates fall on days to avoid: JSON lines, or a calendar for a person.')
    .option('--calendar', 'draw a calendar instead of reading JSON lines')
    .option('--lmp <date>', 'first day of the last period, "unknown" or "no-periods"', 'unknown')
    .option('--about <days>', 'the last period is certain only to so many days either side', wholeNumber)
    .option('--usual <days>', 'usual cycle length as the patient states it', wholeNumber)
    .option('--past <days,...>', 'lengths of past cycles, oldest first', wholeNumbers)
    .option('--age <years>', 'age', wholeNumber)
    .option('--irregular', 'the patient calls the cycles irregular')
    .option('--scheduled', 'hormonal contraception brings on the bleed')
    .option('--not-started-by <date>', 'no new period had begun by this date')
    .option('--visit <date>', 'the booked date')
    .option('--from <date>', 'first date drawn (default: the last period, or today)')
    .option('--months <number>', 'how many months to draw', wholeNumber, 2)
    .addHelpText('after', `\n${FORECAST_CAUTION}`)
    .action(async (options: CalendarOptions) => {
      if (options.calendar) process.exitCode = printCalendar(options)
      else process.exitCode = await answerLines(line, answer)
    })
}

function answer({ id: _id, from, to, ...fields }: z.infer<typeof line>): object {
  const days = daysBetween(from, to)
  if (days < 0) badInput('to', 'The range ends before it begins. Give a later date.')
  if (days > LONGEST_RANGE_DAYS) badInput('to', `Ask for at most ${LONGEST_RANGE_DAYS} days at a time.`)
  const history = toHistory(fields)
  return {
    days: forecastDays(history, { from, to }, USUAL_TIMING).map(rounded),
    ...warnings(checkHistory(history, latestOf(history))),
  }
}

/** Six decimals say more than any forecast knows. */
export function round(probability: number): number {
  return Math.round(probability * 1e6) / 1e6
}

function rounded(day: DayForecast): DayForecast {
  return { ...day, avoidProbability: round(day.avoidProbability), bleedingProbability: round(day.bleedingProbability) }
}

/** What a line says of the cycles, in the words of the domain. */
export function toHistory({ lmp, ...rest }: z.infer<typeof historyLine>): CycleHistory {
  const said = Object.fromEntries(Object.entries(rest).filter(([, value]) => value !== null && value !== undefined))
  if (lmp === 'no-periods' || lmp === 'no periods') return { ...said, status: 'no-periods' }
  return lmp === 'unknown' ? { ...said, status: 'unknown' } : { ...said, status: 'cycling', lmp }
}

/** Faults that do not stop an answer; what they name was left out of it. */
export function warnings(faults: HistoryFault[]): { warnings?: HistoryFault[] } {
  return faults.length === 0 ? {} : { warnings: faults }
}

/** A line without "now" is looked at on the day of its latest news, so that nothing in it counts as the future. */
function latestOf({
  lmp,
  startedOn,
  notStartedBy,
  endedOn,
  stillBleedingOn,
  toldOn,
  pastStarts = [],
}: CycleHistory): CalendarDate {
  const dates = [lmp, startedOn, notStartedBy, endedOn, stillBleedingOn, toldOn, ...pastStarts].filter((day) => day !== undefined)
  return dates.sort().at(-1) ?? calendarDate(0)
}

interface CalendarOptions {
  calendar?: true
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
}

/** Prints the calendar, what to make of the visit, and what cannot be right. Returns the exit code. */
function printCalendar(options: CalendarOptions): number {
  try {
    console.log(calendarFor(options))
    return 0
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    console.error(`${error.detail.field}: ${error.detail.message}`)
    return 2
  }
}

function calendarFor(options: CalendarOptions): string {
  const history = historyOf(options)
  const asOf = options.notStartedBy ?? history.lmp ?? today()
  const from = options.from ?? asOf
  const days = forecastDays(history, { from, to: endOfMonths(from, options.months) }, USUAL_TIMING)
  const faults = checkHistory(history, latestOf(history)).map(({ field, message }) => `Check ${field}: ${message}`)
  const judged = options.visit === undefined ? [] : adviceOn(history, options.visit, asOf)
  return [drawCalendar(days, options.visit), ...judged, ...faults].join('\n')
}

function adviceOn(history: CycleHistory, visit: CalendarDate, asOf: CalendarDate): string[] {
  const ask = cycleCheckDate({ history, visit, asOf, protocol: USUAL_TIMING })
  return [
    '',
    judgeVisit(history, visit, USUAL_TIMING, asOf).reason,
    ...(ask === null ? [] : [`Best day to ask the patient whether the period has begun: ${ask}`]),
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

function wholeNumber(text: string): number {
  const number = Number(text)
  if (!Number.isInteger(number)) throw new InvalidArgumentError('Give a whole number.')
  return number
}

function wholeNumbers(text: string): number[] {
  return text.split(',').map(wholeNumber)
}
