import { Command } from 'commander'
import { DateTime } from 'luxon'
import * as z from 'zod'
import { loadTimings } from '../adapters/templates/load-protocols.ts'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import type { CalendarDate } from '../domain/preparation/cycle/history.ts'
import { judgementOf } from '../domain/preparation/cycle/judge.ts'
import { cycleWindows } from '../domain/preparation/cycle/windows.ts'
import type { Protocol } from '../domain/preparation/protocol.ts'
import { badInput } from '../domain/failure.ts'
import { decideMove } from '../domain/preparation/cycle/move-rule.ts'
import { timeFault } from '../domain/local-time.ts'
import {
  date,
  historyFields,
  id,
  protocolField,
  protocolNamed,
  round,
  toHistory,
  warnings,
  windowsView,
} from './cycle-fields.ts'
import { answerLines } from './json-lines.ts'

/** For the instructions to arrive before the hours of preparation begin. */
const HOURS_TO_ARRIVE = 4

const line = z.strictObject({
  id,
  ...historyFields,
  protocol: protocolField,
  /** As a line of `forecast` has them; nothing here depends on them. */
  from: date.optional(),
  to: date.optional(),
  now: z.string(),
  booked: z.string(),
  zone: z.string().optional(),
  openings: z.array(z.string()).max(5000),
})

/** `daysix suggest`: JSON lines in; whether to keep the booked time, and which openings are better, out. */
export function command(): Command {
  return new Command('suggest')
    .description('Is the booked time good, and which openings are better: JSON lines.')
    .action(async () => {
      const timings = loadTimings()
      process.exitCode = await answerLines(line, (input) => answer(input, timings))
    })
}

function answer(
  { id: _id, from: _from, to: _to, now, booked, zone, openings, protocol: named, ...fields }: z.infer<typeof line>,
  timings: ReadonlyMap<string, Protocol>,
): object {
  const protocol = protocolNamed(named, timings)
  const moment = instant('now', now, zone)
  const asOf = dateOf(moment)
  const told = toHistory({ ...fields, toldOn: fields.toldOn ?? asOf })
  if (told.lmp !== undefined && told.lmp > asOf)
    badInput('lmp', 'This date is later than "now". Correct it, or ask the patient again.')
  const request = { history: told, booked: dateOf(instant('booked', booked, zone)), protocol, asOf }
  const earliest = moment.plus({ hours: protocol.prepHours + HOURS_TO_ARRIVE })
  const decision = decideMove(request, preparable(openings, earliest, zone))
  return {
    keep: decision.keep,
    why: decision.why,
    avoidProbability: round(decision.forecast.avoidProbability),
    ranked: decision.ranked.map(({ key, avoidProbability, cycleDay, rank }) => ({
      ...{ at: key, avoidProbability: round(avoidProbability), cycleDay, rank },
    })),
    reason: judgementOf(decision, told, protocol, asOf).reason,
    windows: windowsView(cycleWindows(told, protocol, asOf)),
    ...warnings(checkHistory(told, asOf)),
  }
}

/** The openings that leave time to prepare. */
function preparable(
  openings: string[],
  earliest: DateTime,
  zone: string | undefined,
): { key: string; date: CalendarDate }[] {
  return openings
    .map((key, i) => ({ key, moment: instant(`openings.${i}`, key, zone) }))
    .filter(({ moment }) => moment >= earliest)
    .map(({ key, moment }) => ({ key, date: dateOf(moment) }))
}

/** The moment in the clinic's zone; without one, times count as written. */
function instant(field: string, text: string, zone: string | undefined): DateTime {
  const moment = zone === undefined ? DateTime.fromISO(text, { setZone: true }) : DateTime.fromISO(text, { zone })
  if (!moment.isValid)
    badInput(
      field,
      timeFault(text) ?? 'Give an ISO 8601 time with an offset, or a local time with a zone such as America/Halifax.',
    )
  return moment
}

function dateOf(moment: DateTime): CalendarDate {
  return moment.toISODate()!
}
