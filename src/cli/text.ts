import { Command } from 'commander'
import { DateTime } from 'luxon'
import * as z from 'zod'
import { loadProtocols } from '../adapters/templates/load-protocols.ts'
import { loadTexts } from '../adapters/templates/load-texts.ts'
import { badInput } from '../domain/failure.ts'
import { knownZone, toInstant } from '../domain/local-time.ts'
import { EMERGENCY_NUMBER } from '../domain/region/clinic.ts'
import type { FullProtocol } from '../domain/preparation/protocol.ts'
import { CHANNELS, HEARD, TEXT_KINDS, type TextValues } from '../domain/messages/texts/kinds.ts'
import type { TextLibrary } from '../domain/messages/texts/library.ts'
import { languageOf, renderText } from '../domain/messages/texts/render.ts'
import { EXAMPLE_SITE } from './example-site.ts'
import { answerLines } from './json-lines.ts'

const line = z.object({
  id: z.union([z.string(), z.number()]),
  kind: z.enum(TEXT_KINDS),
  language: z.string().default('en'),
  channel: z.enum(CHANNELS).default('sms'),
  detail: z.enum(['full', 'discreet']).default('full'),
  voicePart: z.enum(['greeting', 'full', 'voicemail']).optional(),
  visit: z.string().optional(),
  zone: z.string().optional(),
  choices: z.array(z.string()).min(1).max(3).optional(),
  protocol: z.string().default('liquid-based-cytology'),
  topic: z.string().optional(),
  answer: z.string().optional(),
  noted: z.strictObject({ heard: z.enum(HEARD), on: z.iso.date(), stays: z.boolean().default(true) }).optional(),
  clinic: z.string().min(1).default(EXAMPLE_SITE.clinic),
  clinicPhone: z.string().min(1).default(EXAMPLE_SITE.clinicPhone),
  emergency: z.string().regex(EMERGENCY_NUMBER, 'Two to six digits.').nullable().default(EXAMPLE_SITE.emergency),
  page: z.string().default(EXAMPLE_SITE.page),
  periods: z.boolean().default(true),
  fold: z.boolean().default(false),
})
type Line = z.infer<typeof line>

const HELP = `
  in  {"id":"a","kind":"prep","language":"fr","channel":"sms","detail":"full","visit":"2026-03-20T10:30","zone":"America/Halifax"}
  out {"id":"a","text":"…","encoding":"GSM-7","segments":1,"grade":5.1}

Also understood: channel (sms, voice, email; an e-mail comes with its subject), voicePart (greeting, full, voicemail), choices (one to three times), protocol, topic or answer (kind
answer), noted (kind no-change: heard and on, a date), clinic, clinicPhone, emergency (the number to dial, digits only), page, periods (false: cycles play no part), fold
(typographic signs to GSM-7). What is not given is filled with an invented clinic without a number for emergencies; without choices, three times a week after the visit stand in.`

/** `daysix text`: JSON lines in, the exact words out. */
export function command(): Command {
  return new Command('text')
    .description('The exact words of a message, as JSON lines.')
    .addHelpText('after', HELP)
    .action(async () => {
      const library = loadTexts()
      const protocols = loadProtocols()
      process.exitCode = await answerLines(line, (input) => render(input, library, protocols))
    })
}

function render(input: Line, library: TextLibrary, protocols: Map<string, FullProtocol>): object {
  const { kind, channel, detail, voicePart, fold } = input
  const { code } = languageOf(library, input.language)
  const protocol =
    protocols.get(input.protocol) ?? badInput('protocol', `Use one of: ${[...protocols.keys()].join(', ')}.`)
  const answer = answerTo(input, protocol, code)
  const values = valuesOf(input, protocol, answer)
  const rendered = renderText(library, {
    kind,
    language: code,
    channel,
    detail,
    values,
    fold,
    ...(voicePart && { voicePart }),
  })
  const { text, encoding, segments, grade, subject } = rendered
  return { ...(subject !== undefined && { subject }), text, encoding, segments, grade }
}

function valuesOf(input: Line, protocol: FullProtocol, answer: string | undefined): TextValues {
  const zone = zoneOf(input)
  const visit = input.visit === undefined ? undefined : toInstant(input.visit, zone, 'visit')
  const choices =
    input.choices?.map((at, index) => toInstant(at, zone, `choices.${index}`)) ?? (visit && exampleChoices(visit, zone))
  return {
    clinic: input.clinic,
    clinicPhone: input.clinicPhone,
    emergency: input.emergency,
    page: input.page,
    zone,
    avoid: protocol.avoid.map(({ what }) => what),
    periods: input.periods,
    ...(visit && { visit, mark: new Date(visit.getTime() - protocol.prepHours * 3_600_000) }),
    ...(choices && { choices }),
    ...(answer && { answer }),
    ...(input.noted && { noted: input.noted }),
  }
}

/** The zone given, or the offset that the visit is written with. */
function zoneOf({ zone, visit }: Line): string {
  if (zone !== undefined) return knownZone(zone)
  const written = visit === undefined ? undefined : DateTime.fromISO(visit, { setZone: true })
  if (written?.zone.type === 'fixed') return written.zoneName!
  return visit === undefined
    ? 'UTC'
    : badInput('zone', 'Give the zone of the visit, e.g. America/Halifax, or write the visit with its offset.')
}

function exampleChoices(visit: Date, zone: string): Date[] {
  return [7, 8, 9].map((days) => DateTime.fromJSDate(visit, { zone }).plus({ days }).toJSDate())
}

/**
 * The sentence given, else the protocol's answer to the topic; without a topic, its first. Only kind `answer` has one.
 */
function answerTo({ kind, topic, answer }: Line, { answers }: FullProtocol, language: string): string | undefined {
  if (kind !== 'answer') return undefined
  if (answer !== undefined) return answer
  const asked = topic ?? Object.keys(answers).find((candidate) => answers[candidate]![language])
  const found = asked === undefined ? undefined : answers[asked]?.[language]
  const topics = Object.keys(answers).join(', ')
  return found?.sentence ?? badInput('topic', `No answer to this topic in this language. Topics: ${topics}.`)
}
