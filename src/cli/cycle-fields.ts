import * as z from 'zod'
import { badInput } from '../domain/failure.ts'
import { calendarDate } from '../domain/preparation/cycle/days.ts'
import type { HistoryFault } from '../domain/preparation/cycle/evidence.ts'
import { NO_PERIODS_BECAUSE, type CalendarDate, type CycleHistory } from '../domain/preparation/cycle/history.ts'
import type { CycleWindow } from '../domain/preparation/cycle/windows.ts'

export const id = z.union([z.string(), z.number()], 'Give each line an id: text or a number.')

const AS_DATE = 'Write the date as year-month-day, e.g. 2026-03-02.'
export const date = z.iso.date({ error: ({ input }) => dateFault(input) ?? AS_DATE })

/** What `lmp` may say instead of a date. */
const NO_DATE = ['unknown', 'no-periods', 'pregnant', 'no periods'] as const
const AS_LMP = 'Give the first day of the last period as year-month-day, or "unknown", "no-periods" or "pregnant".'

/** Text that is written like a date, but names a day that no calendar has. */
function dateFault(text: unknown): string | undefined {
  return typeof text === 'string' && /^\d{4}-\d{2}-\d{2}$/.test(text)
    ? `There is no such date as ${text}. Check the month and the day.`
    : undefined
}

const usual = 'Give the usual length in days, from 15 to 100, or leave it out.'

/** The fields of a line that say what is known of the cycles. */
export const historyFields = {
  lmp: z.union([z.enum(NO_DATE), z.iso.date({ error: ({ input }) => dateFault(input) ?? AS_LMP })], AS_LMP),
  because: z.enum(NO_PERIODS_BECAUSE, `Give one of ${NO_PERIODS_BECAUSE.join(', ')}, or leave it out.`).nullish(),
  lmpGiveDays: z.number().min(0).max(60).optional(),
  toldOn: date.optional(),
  usualCycleDays: z.number(usual).min(10, usual).max(200, usual).nullish(),
  regularity: z.enum(['regular', 'irregular']).nullish(),
  scheduledBleeds: z.boolean().nullish(),
  pastCycleDays: z.array(z.number().positive('Give each length in days, more than 0.')).max(500).nullish(),
  pastStarts: z.array(date).max(500).nullish(),
  age: z.number().min(0).max(120).nullish(),
  startedOn: date.nullish(),
  notStartedBy: date.nullish(),
  endedOn: date.nullish(),
  stillBleedingOn: date.nullish(),
}
export const historyLine = z.strictObject(historyFields)

/** Whose days to avoid and ideal days count. */
export const protocolField = z.string().default('liquid-based-cytology')

/** @throws bad-input that names the known ones */
export function protocolNamed<P>(id: string, protocols: ReadonlyMap<string, P>): P {
  return protocols.get(id) ?? badInput('protocol', `No such protocol. Known: ${[...protocols.keys()].join(', ')}.`)
}

/** Six decimals say more than any forecast knows. */
export function round(probability: number): number {
  return Math.round(probability * 1e6) / 1e6
}

/** The windows as every answer shows them. */
export function windowsView(windows: readonly CycleWindow[]): CycleWindow[] {
  return windows.map((each) => ({ ...each, avoidProbability: round(each.avoidProbability) }))
}

/** What a line says of the cycles, in the words of the domain; what else it says is left out. */
export function toHistory({ lmp, ...rest }: z.infer<typeof historyLine>): CycleHistory {
  const isTold = ([field, value]: [string, unknown]) => field in historyFields && value !== null && value !== undefined
  const said: Omit<CycleHistory, 'status'> = Object.fromEntries(Object.entries(rest).filter(isTold))
  const status = lmp === 'no periods' ? 'no-periods' : lmp
  if (said.because !== undefined && status !== 'no-periods')
    badInput('because', 'Give this only with "no-periods", or leave it out.')
  if (status === 'no-periods' || status === 'unknown' || status === 'pregnant') return { ...said, status }
  return { ...said, status: 'cycling', lmp }
}

/** Faults that do not stop an answer; what they name was left out of it, unless it is a doubt only. */
export function warnings(faults: HistoryFault[]): { warnings?: HistoryFault[] } {
  return faults.length === 0 ? {} : { warnings: faults }
}

/** A line without "now" is looked at on the day of its latest news, so that nothing in it counts as the future. */
export function latestOf({
  lmp,
  startedOn,
  notStartedBy,
  endedOn,
  stillBleedingOn,
  toldOn,
  pastStarts = [],
}: CycleHistory): CalendarDate {
  const dates = [lmp, startedOn, notStartedBy, endedOn, stillBleedingOn, toldOn, ...pastStarts].filter(
    (day) => day !== undefined,
  )
  return dates.sort().at(-1) ?? calendarDate(0)
}
