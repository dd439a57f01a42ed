import { Command, InvalidArgumentError } from 'commander'
import * as z from 'zod'
import { loadTimings } from '../adapters/templates/load-protocols.ts'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import { daysBetween } from '../domain/preparation/cycle/days.ts'
import { FORECAST_CAUTION, forecastDays } from '../domain/preparation/cycle/forecast.ts'
import type { DayForecast } from '../domain/preparation/cycle/history.ts'
import type { Timing } from '../domain/preparation/cycle/timing.ts'
import { cycleWindows } from '../domain/preparation/cycle/windows.ts'
import { badInput } from '../domain/failure.ts'
import {
  date,
  historyFields,
  id,
  latestOf,
  protocolField,
  protocolNamed,
  round,
  toHistory,
  warnings,
  windowsView,
} from './cycle-fields.ts'
import type { CalendarOptions } from './forecast-calendar.ts'
import { answerLines } from './json-lines.ts'

const LONGEST_RANGE_DAYS = 400
const line = z.strictObject({ id, ...historyFields, from: date, to: date, protocol: protocolField })

/** `daysix forecast`: JSON lines in, the forecast of each date out; with `--calendar` a picture for a person. */
export function command(): Command {
  return new Command('forecast')
    .description('Which dates fall on days to avoid: JSON lines, or a calendar for a person.')
    .option('--calendar', 'draw a calendar instead of reading JSON lines')
    .option('--lmp <date>', 'first day of the last period, "unknown", "no-periods" or "pregnant"', 'unknown')
    .option('--about <days>', 'the last period is certain only to so many days either side', wholeNumber)
    .option('--usual <days>', 'usual cycle length as the patient states it', wholeNumber)
    .option('--past <days,...>', 'lengths of past cycles, oldest first', wholeNumbers)
    .option('--age <years>', 'age', wholeNumber)
    .option('--irregular', 'the patient calls the cycles irregular')
    .option('--scheduled', 'hormonal contraception brings on the bleed')
    .option('--not-started-by <date>', 'no new period had begun by this date')
    .option('--visit <date>', 'the booked date')
    .option('--from <date>', 'first date drawn (default: the last period, or today)')
    .option('--protocol <id>', 'whose days to avoid and ideal days count', 'liquid-based-cytology')
    .option('--months <number>', 'how many months to draw', wholeNumber, 2)
    .addHelpText('after', `\n${FORECAST_CAUTION}`)
    .action(async ({ calendar, ...options }: CalendarOptions & { calendar?: true }) => {
      const timings = loadTimings()
      process.exitCode = calendar
        ? await draw(options, timings)
        : await answerLines(line, (input) => answer(input, timings))
    })
}

/** What only the picture needs is loaded for it only: a line should be answered as quickly as Node starts. */
async function draw(options: CalendarOptions, timings: ReadonlyMap<string, Timing>): Promise<number> {
  return (await import('./forecast-calendar.ts')).printCalendar(options, timings)
}

function answer(
  { id: _id, from, to, protocol, ...fields }: z.infer<typeof line>,
  timings: ReadonlyMap<string, Timing>,
): object {
  const days = daysBetween(from, to)
  if (days < 0) badInput('to', 'The range ends before it begins. Give a later date.')
  if (days > LONGEST_RANGE_DAYS) badInput('to', `Ask for at most ${LONGEST_RANGE_DAYS} days at a time.`)
  const history = toHistory(fields)
  const timing = protocolNamed(protocol, timings)
  return {
    days: forecastDays(history, { from, to }, timing).map(rounded),
    windows: windowsView(cycleWindows(history, timing, latestOf(history))),
    ...warnings(checkHistory(history, latestOf(history))),
  }
}

function rounded(day: DayForecast): DayForecast {
  return { ...day, avoidProbability: round(day.avoidProbability), bleedingProbability: round(day.bleedingProbability) }
}

function wholeNumber(text: string): number {
  const number = Number(text)
  if (!Number.isInteger(number)) throw new InvalidArgumentError('Give a whole number.')
  return number
}

function wholeNumbers(text: string): number[] {
  return text.split(',').map(wholeNumber)
}
