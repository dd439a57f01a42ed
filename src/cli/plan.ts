import { Command } from 'commander'
import * as z from 'zod'
import { loadProtocols } from '../adapters/templates/load-protocols.ts'
import { questionFor } from '../domain/preparation/cycle/question.ts'
import type { CycleHistory } from '../domain/preparation/cycle/history.ts'
import { judgeDate } from '../domain/preparation/cycle/judge.ts'
import { checkHistory } from '../domain/preparation/cycle/check-history.ts'
import { hasCycles } from '../domain/preparation/cycle/no-cycle.ts'
import { badInput } from '../domain/failure.ts'
import { CHANNELS } from '../domain/messages/texts/kinds.ts'
import { toInstant, withOffset, dateIn } from '../domain/local-time.ts'
import { planMessages, type PlanInput } from '../domain/preparation/plan.ts'
import type { FullProtocol } from '../domain/preparation/protocol.ts'
import { DEFAULT_HOURS } from '../domain/preparation/sending-hours.ts'
import { historyFields, id, protocolField, protocolNamed, toHistory } from './cycle-fields.ts'
import { answerLines } from './json-lines.ts'

const line = z.strictObject({
  id,
  visit: z.string('Give the visit, e.g. 2026-03-20T10:30.'),
  zone: z.string('Give the time zone of the visit, e.g. America/Halifax.'),
  bookedAt: z.string('Give the time of the booking, e.g. 2026-02-20T15:00.'),
  ...historyFields,
  lmp: historyFields.lmp.default('unknown'),
  protocol: protocolField,
  language: z.string().optional(),
  channel: z.enum(CHANNELS, 'Give "sms", "voice" or "email".').optional(),
})

type Line = z.infer<typeof line>

export function command(): Command {
  return new Command('plan')
    .description(
      'What is sent when: one JSON object a line in, one a line out.\n' +
        '  in  {"id":"a","visit":"2026-03-20T10:30","zone":"America/Halifax","bookedAt":"2026-02-20T15:00","lmp":"2026-03-02","language":"en","channel":"sms"}\n' +
        '  out {"id":"a","messages":[{"kind":"prep","sendAt":"2026-03-17T18:00:00-03:00","notAfter":"2026-03-18T10:30:00-03:00"}],"warnings":[]}\n' +
        'confirms: the same message says what the confirmation would say.',
    )
    .action(async () => {
      const protocols = loadProtocols()
      process.exitCode = await answerLines(line, (input) => answer(input, protocols))
    })
}

function answer(input: Line, protocols: ReadonlyMap<string, FullProtocol>): object {
  const { zone, bookedAt } = input
  const protocol = protocolNamed(input.protocol, protocols)
  const visit = toInstant(input.visit, zone, 'visit')
  const now = toInstant(bookedAt, zone, 'bookedAt')
  if (visit <= now) badInput('visit', 'The visit is before the booking. Give a visit to come.')
  const history = toHistory(input)
  if (history.lmp !== undefined && history.lmp > dateIn(visit, zone))
    badInput('lmp', 'This period begins after the visit. Correct one of the two.')
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
  const timing = judgeDate(history, dateIn(visit, zone), protocol, asOf)
  const doubts = checkHistory(history, asOf).map((fault) => ({ code: 'check-history', ...fault }))
  const badly = !timing.worthACall ? [] : [{ code: 'badly-timed', message: timing.reason }]
  return {
    messages: messages.map(({ kind, confirms, sendAt, notAfter }) => ({
      kind,
      ...(confirms && { confirms }),
      sendAt: withOffset(sendAt, zone),
      notAfter: withOffset(notAfter, zone),
    })),
    warnings: [...badly, ...warnings, ...doubts],
  }
}

/** The LMP may be told after the booking was made; the plan is then as of that day. */
function latest(date: string, lmp: string | undefined): string {
  return lmp !== undefined && lmp > date ? lmp : date
}

function question(history: CycleHistory, visit: string, asOf: string, protocol: FullProtocol): PlanInput['ask'] {
  if (!hasCycles(history) || protocol.avoidDays === null) return null
  if (history.status === 'unknown') return { kind: 'lmp-question' }
  const asked = questionFor({ history, visit, asOf, protocol })
  return asked && { kind: 'cycle-check', ...asked }
}
