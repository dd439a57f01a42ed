import { parse } from 'yaml'
import * as z from 'zod'
import { Failure } from '../../domain/failure.ts'
import { knownZone } from '../../domain/local-time.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { PURPOSE_NAMES } from '../../domain/visits/purpose.ts'
import { yamlFault } from '../gateways/read-yaml.ts'

const code = z.string().max(200)
const words = z.string().min(1).max(100)
const events = z.enum([
  ...(['booked', 'changed', 'moved', 'cancelled', 'series-ended', 'entered-in-error', 'no-show', 'arrived'] as const),
])
const LABEL_HINT = 'Give a charset by its label, e.g. windows-1252 or iso-8859-1.'

/** What a feed's file may say. Everything but the name, the clinics and the kinds of visit has a usual value. */
const feedSchema = z.strictObject({
  name: z.string().regex(/^[a-z][a-z0-9-]{0,39}$/, 'Give a short name: small letters, digits, hyphens.'),
  zone: z
    .string()
    .refine(isZone, 'This is not a known time zone. Use an IANA name such as America/Halifax.')
    .describe('Of times without an offset.'),
  charset: z.string().refine(isCharset, LABEL_HINT).default('windows-1252'),
  key: z.enum(['filler', 'placer']).default('filler'),
  keySystem: z.string().max(200).nullable().default(null),
  patientId: z
    .strictObject({ authority: code.default(''), type: code.default('') })
    .default({ authority: '', type: '' }),
  clinics: z.record(code, words).refine(hasAny, 'Name at least one place and the clinic of ours that it is.'),
  clinicians: z.record(code, z.string().max(80)).default({}),
  types: z
    .record(code, z.strictObject({ protocol: words, purpose: z.enum(PURPOSE_NAMES).default('routine') }))
    .refine(hasAny, 'Name at least one kind of visit that concerns us, and its protocol.'),
  statuses: z.record(code, events).default({}),
  languages: z.record(code, z.string().min(2).max(10)).default({}),
  consent: z
    .strictObject({ field: words, yes: z.array(words).min(1) })
    .nullable()
    .default(null),
  settleMinutes: z.number().int().min(0).max(120).default(3),
  columns: z.record(z.string(), words).default({}),
  dateOrder: z.enum(['day-month', 'month-day']).nullable().default(null),
  production: z.boolean().default(true),
  testNames: z.array(words).default([]),
})

/**
 * A feed as its file describes it.
 * @param file its name, for the faults
 * @param known what a description may refer to: protocols, and the languages that texts are written in
 * @throws bad-config with every fault, each with where it stands and how to mend it
 */
export function readFeed(
  text: string,
  file: string,
  known: { protocols: Iterable<string>; languages: Iterable<string> },
): Feed {
  const broken = yamlFault(text)
  if (broken !== undefined) refuse([`${file}${broken}`])
  const read = feedSchema.safeParse(parse(text))
  if (!read.success) return refuse(read.error.issues.map((issue) => `${file}, ${faultOf(issue)}`))
  const [protocols, languages] = [new Set(known.protocols), new Set(known.languages)]
  const faults = [
    ...Object.entries(read.data.types).flatMap(([type, { protocol }]) =>
      protocols.has(protocol)
        ? []
        : [`types.${type}: There is no protocol "${protocol}". Known: ${[...protocols].sort().join(', ')}.`],
    ),
    ...Object.entries(read.data.languages).flatMap(([theirs, ours]) =>
      languages.has(ours)
        ? []
        : [`languages.${theirs}: No texts are written in "${ours}". Known: ${[...languages].sort().join(', ')}.`],
    ),
  ]
  return faults.length > 0 ? refuse(faults.map((fault) => `${file}, ${fault}`)) : read.data
}

function faultOf({ code: kind, path, message, ...issue }: z.core.$ZodIssue): string {
  const at = path.join('.')
  if (kind === 'unrecognized_keys' && 'keys' in issue)
    return `${at === '' ? '' : `${at}: `}There is no setting ${issue.keys.join(', ')} here. Mend its name, or take it away.`
  return `${at === '' ? 'the whole' : at}: ${message}`
}

function refuse(faults: readonly string[]): never {
  throw new Failure('bad-config', { field: 'feed', message: faults.join('\n') })
}

function isZone(zone: string): boolean {
  try {
    return knownZone(zone) !== ''
  } catch {
    return false
  }
}

function isCharset(label: string): boolean {
  try {
    return new TextDecoder(label).encoding !== ''
  } catch {
    return false
  }
}

function hasAny(table: Record<string, unknown>): boolean {
  return Object.keys(table).length > 0
}
