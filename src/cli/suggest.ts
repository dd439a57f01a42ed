import { Command } from 'commander'
import { DateTime } from 'luxon'
import * as z from 'zod'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import type { CalendarDate } from '../domain/preparation/cycle/history.ts'
import { judgeVisit } from '../domain/preparation/cycle/judge.ts'
import { USUAL_TIMING } from '../domain/preparation/cycle/timing.ts'
import { cycleWindows } from '../domain/preparation/cycle/windows.ts'
import { badInput } from '../domain/failure.ts'
import { rankOpenings } from '../domain/visits/rank-openings.ts'
import { historyFields, round, toHistory, warnings, windowsView } from './cycle-fields.ts'
import { answerLines } from './json-lines.ts'

/** 48 hours of preparation, and four for the instructions to arrive before they begin. */
const HOURS_TO_PREPARE = 52

const line = z.object({
  id: z.union([z.string(), z.number()]),
  ...historyFields,
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
      process.exitCode = await answerLines(line, answer)
    })
}

function answer({ id: _id, now, booked, zone, openings, ...fields }: z.infer<typeof line>): object {
  const moment = instant('now', now, zone)
  const asOf = dateOf(moment)
  const told = toHistory({ ...fields, toldOn: fields.toldOn ?? asOf })
  if (told.lmp !== undefined && told.lmp > asOf) badInput('lmp', 'This date is later than "now". Correct it, or ask the patient again.')
  const request = { history: told, booked: dateOf(instant('booked', booked, zone)), protocol: USUAL_TIMING, asOf }
  const ranked = rankOpenings({ ...request, openings: preparable(openings, moment, zone) })
  const judged = judgeVisit(told, request.booked, USUAL_TIMING, asOf)
  return {
    keep: ranked.length === 0 && judged.keep,
    avoidProbability: round(judged.forecast.avoidProbability),
    ranked: ranked.map(({ key, avoidProbability, cycleDay }, index) => ({
      at: key,
      avoidProbability: round(avoidProbability),
      cycleDay,
      rank: index + 1,
    })),
    reason:
      judged.keep && ranked.length > 0
        ? saferIsFree(judged.forecast.avoidProbability, ranked[0]!.avoidProbability)
        : judged.reason,
    windows: windowsView(cycleWindows(told, USUAL_TIMING, asOf)),
    ...warnings(checkHistory(told, asOf)),
  }
}

/** The booked time would do, but a better one is near. */
function saferIsFree(booked: number, best: number): string {
  const [now, then] = [booked, best].map((chance) => Math.max(1, Math.round(chance * 100)))
  return `A safer time is free: the first suggestion lowers the chance of a day to avoid from ${now} to ${then} in 100.`
}

/** The openings that leave time to prepare. */
function preparable(openings: string[], now: DateTime, zone: string | undefined): { key: string; date: CalendarDate }[] {
  const earliest = now.plus({ hours: HOURS_TO_PREPARE })
  return openings
    .map((key, i) => ({ key, moment: instant(`openings.${i}`, key, zone) }))
    .filter(({ moment }) => moment >= earliest)
    .map(({ key, moment }) => ({ key, date: dateOf(moment) }))
}

/** The moment in the clinic's zone; without one, times count as written. */
function instant(field: string, text: string, zone: string | undefined): DateTime {
  const moment = zone === undefined ? DateTime.fromISO(text, { setZone: true }) : DateTime.fromISO(text, { zone })
  if (!moment.isValid)
    badInput(field, 'Give an ISO 8601 time with an offset, or a local time with a zone such as America/Halifax.')
  return moment
}

function dateOf(moment: DateTime): CalendarDate {
  return moment.toISODate()!
}
