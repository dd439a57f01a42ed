import { isAbsolute } from 'node:path'
import { parse } from 'yaml'
import * as z from 'zod'
import { Failure } from '../../domain/failure.ts'
import { knownZone } from '../../domain/local-time.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { PURPOSE_NAMES } from '../../domain/visits/purpose.ts'
import { decodeStrictly } from './decode.ts'
import type { ServerSettings } from './fhir-server/poll-server.ts'
import { serverSchema } from './fhir-server/server-schema.ts'
import { tellSchema } from './tell/tell-schema.ts'
import { yamlFault } from '../gateways/read-yaml.ts'

const code = z.string().max(200)
const words = z.string().min(1).max(100)
const events = z.enum([
  ...(['booked', 'changed', 'moved', 'cancelled', 'series-ended', 'entered-in-error', 'no-show', 'arrived'] as const),
])
const LABEL_HINT = 'Give a charset by its label, e.g. windows-1252 or iso-8859-1.'

/** What a description may refer to. */
export interface Referred {
  protocols: ReadonlySet<string>
  /** Languages that texts are written in. */
  languages: ReadonlySet<string>
}

/** What a feed's file may say. All but the name, the zone, the clinics and the kinds of visit has a usual value. */
const schemaFor = ({ protocols, languages }: Referred) =>
  z.strictObject({
    name: z.string().regex(/^[a-z][a-z0-9-]{0,39}$/, 'Give a short name: small letters, digits, hyphens.'),
    zone: z
      .string()
      .refine(isZone, 'This is not a known time zone. Use an IANA name such as America/Halifax.')
      .describe('Of times without an offset.'),
    charset: z
      .string()
      .refine((label) => decodeStrictly(label, new Uint8Array()) !== null, LABEL_HINT)
      .default('windows-1252'),
    key: z.enum(['filler', 'placer']).default('filler'),
    keySystem: z.string().max(200).nullable().default(null),
    patientId: z
      .strictObject({ authority: code.default(''), type: code.default('') })
      .default({ authority: '', type: '' }),
    clinics: z.record(code, words).refine(hasAny, 'Name at least one place and the clinic of ours that it is.'),
    clinicians: z.record(code, z.string().max(80)).default({}),
    types: z
      .record(
        code,
        z.strictObject({ protocol: oneOf(protocols, 'protocol'), purpose: z.enum(PURPOSE_NAMES).default('routine') }),
      )
      .refine(hasAny, 'Name at least one kind of visit that concerns us, and its protocol.'),
    statuses: z.record(code, events).default({}),
    languages: z.record(code, oneOf(languages, 'language with texts')).default({}),
    usualLanguage: oneOf(languages, 'language with texts').nullable().default(null),
    consent: z
      .strictObject({ field: words, yes: z.array(words).min(1) })
      .nullable()
      .default(null),
    tell: tellSchema.nullable().default(null),
    settleMinutes: z.number().int().min(0).max(120).default(3),
    columns: z.record(z.string(), words).default({}),
    dateOrder: z.enum(['day-month', 'month-day']).nullable().default(null),
    hl7Sender: z
      .strictObject({ application: code.default(''), facility: code.default('') })
      .default({ application: '', facility: '' }),
    production: z.boolean().default(true),
    testNames: z.array(words).default([]),
    folder: z
      .string()
      .max(500)
      .refine(isAbsolute, 'Give the whole path, from the root.')
      .nullable()
      .default(null)
      .describe('Files that appear in it are taken.'),
    address: z
      .string()
      .max(2000)
      .refine(isHttps, 'Give an address that begins with https://.')
      .nullable()
      .default(null)
      .describe('A calendar or table that is fetched.'),
    server: serverSchema.nullable().default(null),
    everyMinutes: z.number().int().min(1).max(1440).default(15),
    ownNetwork: z.boolean().default(false).describe('The address may be one of this machine or of its network.'),
  })

const oneOf = (known: ReadonlySet<string>, what: string) =>
  z.string().refine((name) => known.has(name), {
    error: ({ input }) => `There is no ${what} "${String(input)}". Known: ${[...known].sort().join(', ')}.`,
  })

/** Where a feed is had from, beside what is sent to the service. */
export interface FeedSources {
  /** Its files are taken in the order of their names. */
  folder: string | null
  /** A calendar or table behind an https address; null = none. It may hold a secret. */
  address: { url: string; everyMinutes: number; ownNetwork: boolean } | null
  /** A FHIR server that is asked; null = none. */
  server: ServerSettings | null
}

/** A feed, and where it is had from. */
export interface DescribedFeed {
  feed: Feed
  sources: FeedSources
}

/**
 * A feed as its file describes it.
 * @param file its name, for the faults
 * @throws bad-config with every fault, each with where it stands and how to mend it
 */
export function readFeed(text: string, file: string, known: Referred): Feed {
  return readFeedFile(text, file, known).feed
}

/** As `readFeed`, with where it is had from. */
export function readFeedFile(text: string, file: string, known: Referred): DescribedFeed {
  const broken = yamlFault(text)
  if (broken !== undefined) refuse([`${file}${broken}`])
  const read = schemaFor(known).safeParse(parse(text))
  if (!read.success) refuse(read.error.issues.map((issue) => `${file}, ${faultOf(issue)}`))
  const { folder, address: url, server, everyMinutes, ownNetwork, ...feed } = read.data
  const how = { everyMinutes, ownNetwork }
  const sources = { folder, address: url === null ? null : { url, ...how }, server: server && { ...server, ...how } }
  return { feed, sources }
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

function isHttps(address: string): boolean {
  return URL.canParse(address) && new URL(address).protocol === 'https:'
}

function hasAny(table: Record<string, unknown>): boolean {
  return Object.keys(table).length > 0
}
