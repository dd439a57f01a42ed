import { Command, InvalidArgumentError } from 'commander'
import * as z from 'zod'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import { daysBetween } from '../domain/preparation/cycle/days.ts'
import { FORECAST_CAUTION, forecastDays } from '../domain/preparation/cycle/forecast.ts'
import type { DayForecast } from '../domain/preparation/cycle/history.ts'
import { USUAL_TIMING } from '../domain/preparation/cycle/timing.ts'
import { cycleWindows } from '../domain/preparation/cycle/windows.ts'
import { badInput } from '../domain/failure.ts'
import { date, historyFields, latestOf, round, toHistory, warnings, windowsView } from './cycle-fields.ts'
import type { CalendarOptions } from './forecast-calendar.ts'
import { answerLines } from './json-lines.ts'

const LONGEST_RANGE_DAYS = 400
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
    .action(async ({ calendar, ...options }: CalendarOptions & { calendar?: true }) => {
      process.exitCode = calendar ? await draw(options) : await answerLines(line, answer)
    })
}

/** What only the picture needs is loaded for it only: a line should be answered as quickly as Node starts. */
async function draw(options: CalendarOptions): Promise<number> {
  return (await import('./forecast-calendar.ts')).printCalendar(options)
}

function answer({ id: _id, from, to, ...fields }: z.infer<typeof line>): object {
  const days = daysBetween(from, to)
  if (days < 0) badInput('to', 'The range ends before it begins. Give a later date.')
  if (days > LONGEST_RANGE_DAYS) badInput('to', `Ask for at most ${LONGEST_RANGE_DAYS} days at a time.`)
  const history = toHistory(fields)
  return {
    days: forecastDays(history, { from, to }, USUAL_TIMING).map(rounded),
    windows: windowsView(cycleWindows(history, USUAL_TIMING, latestOf(history))),
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
