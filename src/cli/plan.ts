import { Command } from 'commander'
import * as z from 'zod'
import { loadProtocols } from '../adapters/templates/load-protocols.ts'
import { cycleCheckDate } from '../domain/preparation/cycle/cycle-check.ts'
import type { CycleHistory } from '../domain/preparation/cycle/history.ts'
import { judgeVisit } from '../domain/preparation/cycle/judge.ts'
import { badInput } from '../domain/failure.ts'
import { toInstant, withOffset, dateIn } from '../domain/local-time.ts'
import { planMessages, type PlanInput } from '../domain/preparation/plan.ts'
import type { FullProtocol } from '../domain/preparation/protocol.ts'
import { DEFAULT_HOURS } from '../domain/preparation/sending-hours.ts'
import { answerLines } from './json-lines.ts'

const line = z.object({
  id: z.union([z.string(), z.number()]),
  visit: z.string(),
  zone: z.string(),
  bookedAt: z.string(),
  lmp: z.union([z.iso.date(), z.literal('unknown'), z.literal('no-periods')], 'Give a date as YYYY-MM-DD, or "unknown", or "no-periods".').optional(),
  usualCycleDays: z.int().min(15).max(90).optional(),
  pastCycleDays: z.array(z.int().min(1).max(400)).optional(),
  age: z.int().min(5).max(120).optional(),
  protocol: z.string().default('liquid-based-cytology'),
  language: z.string().optional(),
  channel: z.enum(['sms', 'voice']).optional(),
})

type Line = z.infer<typeof line>

export function command(): Command {
  return new Command('plan')
    .description(
      'What is sent when: one JSON object a line in, one a line out.\n' +
        '  in  {"id":"a","visit":"2026-03-20T10:30","zone":"America/Halifax","bookedAt":"2026-02-20T15:00","lmp":"2026-03-02","language":"en","channel":"sms"}\n' +
        '  out {"id":"a","messages":[{"kind":"prep","sendAt":"2026-03-17T18:00:00-03:00","notAfter":"2026-03-18T10:30:00-03:00"}],"warnings":[]}',
    )
    .action(async () => {
      const protocols = loadProtocols()
      process.exitCode = await answerLines(line, (input) => answer(input, protocols))
    })
}

function answer(input: Line, protocols: ReadonlyMap<string, FullProtocol>): object {
  const { zone } = input
  const protocol = protocols.get(input.protocol) ?? badInput('protocol', `No such protocol. Known: ${[...protocols.keys()].join(', ')}.`)
  const visit = toInstant(input.visit, zone, 'visit')
  const now = toInstant(input.bookedAt, zone, 'bookedAt')
  if (visit <= now) badInput('visit', 'The visit is before the booking. Give a visit to come.')
  const history = toHistory(input)
  const asOf = latest(dateIn(now, zone), history.lmp)
  const { messages, warnings } = planMessages({
    visit,
    zone,
    now,
    hours: DEFAULT_HOURS,
    prepHours: protocol.prepHours,
    ask: question(history, dateIn(visit, zone), asOf, protocol),
    done: [],
    others: [],
  })
  const timing = judgeVisit(history, dateIn(visit, zone), protocol, asOf)
  const badly = timing.keep ? [] : [{ code: 'badly-timed', message: timing.reason }]
  return {
    messages: messages.map(({ kind, sendAt, notAfter }) => ({ kind, sendAt: withOffset(sendAt, zone), notAfter: withOffset(notAfter, zone) })),
    warnings: [...badly, ...warnings],
  }
}

function toHistory({ lmp, usualCycleDays, pastCycleDays, age }: Line): CycleHistory {
  const known = { ...(usualCycleDays && { usualCycleDays }), ...(pastCycleDays && { pastCycleDays }), ...(age && { age }) }
  if (lmp === 'no-periods') return { status: 'no-periods' }
  return lmp === undefined || lmp === 'unknown' ? { status: 'unknown', ...known } : { status: 'cycling', lmp, ...known }
}

/** The LMP may be told after the booking was made; the plan is then as of that day. */
function latest(date: string, lmp: string | undefined): string {
  return lmp !== undefined && lmp > date ? lmp : date
}

function question(history: CycleHistory, visit: string, asOf: string, protocol: FullProtocol): PlanInput['ask'] {
  if (history.status === 'no-periods' || protocol.avoidDays === null) return null
  if (history.status === 'unknown') return { kind: 'lmp-question' }
  const on = cycleCheckDate({ history, visit, asOf, protocol })
  return on === null ? null : { kind: 'cycle-check', on }
}
