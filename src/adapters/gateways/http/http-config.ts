import * as z from 'zod'
import { gatewayName, readDescribed, secretReference } from '../described.ts'

/** What templates may speak of. `text` and everything else stands unencoded; where it is put decides its encoding. */
export const FIELDS = new Set([
  'to',
  'to_no_plus',
  'from',
  'text',
  'language',
  'encoding',
  'coding',
  'segments',
  'our_id',
  'validity_min',
  'not_after',
  'not_after_unix',
  'now',
  'now_unix',
  'receipt_url',
  'reply_url',
  'script_url',
  'voicemail_url',
  'voicexml',
])

const regex = z.string().transform((source, context) => {
  try {
    return new RegExp(source, 's')
  } catch {
    context.addIssue({
      code: 'custom',
      message: 'This is not a regular expression. Check its brackets and backslashes.',
    })
    return z.NEVER
  }
})
/**
 * Where a value is: `query:name`, `header:name`, `form:name`, `json:path.to[0].it`, `xml:path/to[0]/it`,
 * `xml:path/to/@attribute`, `body:regex with (group)`, or `body`.
 */
const source = z
  .string()
  .regex(
    /^(body$|body:.|(query|header|form|json|xml):\S)/,
    'Write query:name, header:name, form:name, json:path, xml:path, body:regex or body.',
  )
const templates = z.record(z.string(), z.string())
const text = z.string().min(1)

const SIGNABLE = ['timestamp', 'method', 'path', 'body', 'body_sha256']
/** Anything else in braces would be signed as it stands, and no signature would ever hold. */
const signed = z
  .string()
  .includes('{body', 'Let {body} or {body_sha256} be signed, or anybody could change it.')
  .refine(
    (template) => [...template.matchAll(/\{([^{}]*)\}/g)].every(([, name]) => SIGNABLE.includes(name!)),
    `What can be signed is ${SIGNABLE.map((name) => `{${name}}`).join(' ')}; there is nothing else to put in braces.`,
  )

const hmac = {
  secret: z.union([secretReference, z.array(secretReference).min(1)]),
  algorithm: z.enum(['sha256', 'sha512', 'sha1']).default('sha256'),
  /** What is signed, from {timestamp} {method} {path} {body} {body_sha256}. */
  signed,
  header: text,
  prefix: z.string().default(''),
  encoding: z.enum(['hex', 'base64']).default('hex'),
}

const requestAuth = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('bearer'), token: secretReference }),
  z.strictObject({ kind: z.literal('basic'), user: text, password: secretReference }),
  z.strictObject({
    kind: z.literal('hmac'),
    ...hmac,
    secret: secretReference,
    timestampHeader: text.optional(),
    timestampUnit: z.enum(['s', 'ms']).default('s'),
  }),
])

const callbackAuth = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('bearer'), token: secretReference }),
  /**
   * For peers that can sign nothing: a secret in the address they call. It is added to {receipt_url} and {reply_url}.
   */
  z.strictObject({ kind: z.literal('query'), name: text.default('key'), secret: secretReference }),
  z
    .strictObject({
      kind: z.literal('hmac'),
      ...hmac,
      signed: signed.refine(
        (template) => template.includes('{timestamp}'),
        'Without {timestamp} in what is signed an old callback could be replayed for ever.',
      ),
      /**
       * Takes the signature (and a timestamp beside it) out of the header: named groups `signature` and `timestamp`.
       */
      pattern: regex.optional(),
      timestampHeader: text.optional(),
      timestampUnit: z.enum(['s', 'ms']).default('s'),
      toleranceSeconds: z.number().int().min(1).max(3600).default(300),
    })
    .refine(
      (auth) => auth.timestampHeader ?? auth.pattern?.source.includes('<timestamp>'),
      'Say where the timestamp is: timestampHeader, or a group "timestamp" in pattern.',
    ),
])

const body = z.discriminatedUnion('as', [
  z.strictObject({ as: z.literal('form'), fields: templates }),
  z.strictObject({ as: z.literal('json'), value: z.json() }),
  z.strictObject({
    as: z.literal('raw'),
    contentType: text,
    text,
    escape: z.enum(['xml', 'json', 'url', 'none']),
    charset: z.enum(['utf-8', 'utf-16be']).default('utf-8'),
  }),
])

const MEANINGS = ['accepted', 'rejected', 'later', 'throttled', 'misconfigured', 'unknown'] as const
const rule = z.strictObject({
  status: z.union([z.number().int(), z.string().regex(/^[1-5]xx$/)]).optional(),
  body: regex.optional(),
  json: z.record(z.string(), regex).optional(),
  means: z.enum(MEANINGS),
  /** Where the peer's own code for the fault is found. */
  code: source.optional(),
})

const callback = {
  auth: callbackAuth,
  /** One callback with many facts: where the list is. Every other `json:` or `xml:` then starts at one item of it. */
  each: source.refine((at) => /^(json|xml):/.test(at), 'Write json:path or xml:path of the list.').optional(),
  at: source.optional(),
  atFormat: z.enum(['iso', 'unix', 'unix-ms']).default('iso'),
  /** What the peer must get back. Some peers text this body to the patient: leave it empty unless they ask for one. */
  reply: z
    .strictObject({
      status: z.number().int().min(200).max(299).default(200),
      body: z.string().default(''),
      contentType: text.optional(),
    })
    .prefault({}),
}

const receipts = z.strictObject({
  ...callback,
  ourId: source.default('query:id'),
  ref: source.optional(),
  state: source,
  states: z.record(z.string(), z.enum(['delivered', 'undelivered', 'ignore'])),
  code: source.optional(),
})

const ENCODINGS = ['utf-8', 'utf-16be', 'latin1', 'utf-16be-hex', 'base64'] as const
export type TextEncoding = (typeof ENCODINGS)[number]

const replies = z
  .strictObject({
    ...callback,
    from: source,
    /** Country whose national numbers `from` may hold; without it, digits are taken as E.164 with or without `+`. */
    country: z
      .string()
      .regex(/^[A-Z]{2}$/)
      .optional(),
    text: source,
    /**
     * How the text is encoded, fixed or by a value beside it. Left out: the charset of the content type, else UTF-8.
     */
    encoding: z
      .union([z.enum(ENCODINGS), z.strictObject({ by: source, as: z.record(z.string(), z.enum(ENCODINGS)) })])
      .optional(),
    key: source.optional(),
  })
  .refine(
    (value) => value.key ?? value.at,
    'Say where an id (key) or at least a time (at) of the reply is, or the same reply would be heard twice.',
  )

const httpConfig = z.strictObject({
  kind: z.literal('http'),
  name: gatewayName,
  channels: z
    .array(z.enum(['sms', 'voice']))
    .min(1)
    .default(['sms']),
  onUnknown: z.enum(['resend', 'ask-desk']).default('ask-desk'),
  /** Sender: number or name, as the peer knows it. */
  from: z.string().default(''),
  timeoutMs: z.number().int().min(100).max(120_000).default(15_000),
  ratePerSecond: z.number().positive().max(10_000).optional(),
  maxConnections: z.number().int().min(1).max(1000).default(20),
  /** What {coding} says for each alphabet. */
  codings: z.strictObject({ 'GSM-7': z.string(), 'UCS-2': z.string() }).default({ 'GSM-7': '0', 'UCS-2': '2' }),
  request: z.strictObject({
    method: z.enum(['GET', 'POST', 'PUT']),
    url: z.url({ protocol: /^https?$/, message: 'Write a whole http:// or https:// address.' }),
    query: templates.default({}),
    headers: templates.default({}),
    body: body.optional(),
    auth: requestAuth.optional(),
  }),
  answers: z.array(rule).default([]),
  ref: source.optional(),
  receipts: receipts.optional(),
  replies: replies.optional(),
})

export type HttpConfig = z.infer<typeof httpConfig>
export type Rule = HttpConfig['answers'][number]
export type ReceiptMapping = z.infer<typeof receipts>
export type ReplyMapping = z.infer<typeof replies>
export type CallbackAuth = z.infer<typeof callbackAuth>
export type RequestAuth = z.infer<typeof requestAuth>
export type Body = z.infer<typeof body>

/** Checks the description of an HTTP gateway. @throws Failure `bad-input` with every fault at once. */
export function readHttpConfig(raw: unknown): HttpConfig {
  return readDescribed(httpConfig, raw)
}

/** Names of every secret that a configuration refers to. */
export function secretNames(config: unknown): string[] {
  if (typeof config === 'string') return config.startsWith('env:') ? [config.slice(4)] : []
  if (config === null || typeof config !== 'object' || config instanceof RegExp) return []
  return Object.values(config).flatMap(secretNames)
}
