import * as z from 'zod'
import { Failure } from '../../../domain/failure.ts'
import { toMailAddress } from '../../../domain/patients/mail-address.ts'
import { gatewayName, readDescribed, secretReference } from '../described.ts'
import { asciiAddress } from './ascii-address.ts'

const ms = (usual: number) => z.number().int().min(10).max(600_000).default(usual)
const address = z.string().refine(isAddress, 'Write one e-mail address, as name@place.example.')
/** What is written into one line must not be able to begin another. */
const oneLine = (most: number) =>
  z
    .string()
    .min(1)
    .max(most)
    .regex(/^[^\p{Cc}\u2028\u2029]*$/u, 'Write one line, without control characters.')

const described = z.strictObject({
  kind: z.literal('smtp'),
  name: gatewayName,
  onUnknown: z.enum(['resend', 'ask-desk']).default('ask-desk'),
  host: z.string().regex(/^[\w.:-]{1,253}$/, 'Write the name of the server, or its address, alone.'),
  /** Without it: 465 for `implicit`, 587 for `starttls` (RFC 8314), 25 for `none`. */
  port: z.number().int().min(1).max(65_535).optional(),
  /**
   * `implicit`: TLS from the beginning. `starttls`: in the clear first, and nothing is said before TLS stands. The
   * certificate is always verified; `caFile` holds the authority (PEM) where it is no public one.
   */
  tls: z.strictObject({
    mode: z.enum(['implicit', 'starttls', 'none']),
    caFile: z.string().optional(),
    serverName: z.string().optional(),
  }),
  auth: z.strictObject({ user: oneLine(256), password: secretReference }).optional(),
  /** Who writes. Answers to letters are read by nobody unless `replyTo` leads to somebody who does. */
  from: z.strictObject({ address, name: oneLine(60).optional() }),
  replyTo: address.optional(),
  /** Domains to which it may send, for a trial; without it to all. */
  allow: z
    .array(z.string().regex(/^(?:[a-z0-9-]+\.)+[a-z0-9-]+$/, 'Write a domain in small letters, e.g. clinic.example.'))
    .min(1)
    .optional(),
  maxConnections: z.number().int().min(1).max(100).default(5),
  ratePerSecond: z.number().positive().max(1_000).optional(),
  /** For making the connection. */
  connectMs: ms(10_000),
  /** For each step after it; last for the answer to the letter itself, whose fate is unknown when none comes. */
  answerMs: ms(60_000),
})

type Described = z.infer<typeof described>
export type SmtpConfig = Described & { port: number }

const PORTS = { implicit: 465, starttls: 587, none: 25 } as const

const checked = described
  .refine(({ tls, auth, host }) => tls.mode !== 'none' || auth === undefined || isLoopback(host), {
    path: ['auth'],
    message: 'A password would travel in the clear. Set tls.mode to starttls or implicit.',
  })
  .refine(({ tls }) => tls.mode !== 'none' || (tls.caFile === undefined && tls.serverName === undefined), {
    path: ['tls', 'mode'],
    message: 'caFile and serverName are for starttls and implicit. Set one of these, or leave them out.',
  })

/** Checks the description of a gateway for e-mail. @throws Failure `bad-input` with every fault at once. */
export function readSmtpConfig(raw: unknown): SmtpConfig {
  const config = readDescribed(checked, raw)
  return { ...config, port: config.port ?? PORTS[config.tls.mode] }
}

function isAddress(text: string): boolean {
  try {
    return asciiAddress(toMailAddress(text, 'address')) === text
  } catch (error) {
    if (error instanceof Failure) return false
    throw error
  }
}

function isLoopback(host: string): boolean {
  return host === 'localhost' || host === '::1' || /^127(?:\.\d{1,3}){3}$/.test(host)
}
