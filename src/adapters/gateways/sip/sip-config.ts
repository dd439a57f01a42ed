import { isIPv6 } from 'node:net'
import * as z from 'zod'
import { gatewayName, readDescribed, secretReference } from '../described.ts'

/** What may stand in a SIP address without escaping, and in a line of the engine's configuration. */
const word = z.string().regex(/^[\w.+-]{1,64}$/, 'Use letters, digits and . + - _ only.')
/** An address, so that no call waits for a name to be looked up. */
const address = z.union([z.ipv4(), z.ipv6()], 'Write the IP address, e.g. 192.0.2.10 or 2001:db8::10.')
const port = z.int().min(1024).max(65_535)

const sipConfig = z.strictObject({
  kind: z.literal('sip'),
  name: gatewayName,
  onUnknown: z.enum(['resend', 'ask-desk']).default('ask-desk'),
  /** Without a port: 5061 for `tls`, 5060 otherwise (RFC 3261 §19.1.2). */
  trunk: z.strictObject({ host: address, port: z.int().min(1).max(65_535).optional() }),
  transport: z.enum(['udp', 'tcp', 'tls']).default('udp'),
  /** What the trunk's certificate is held against: an authority of one's own, and the name it must bear. */
  tls: z.strictObject({ caFile: z.string().optional(), serverName: z.string().optional() }).optional(),
  /** Sound in the clear, or by SRTP with keys that the signalling carries (RFC 4568). */
  media: z.enum(['plain', 'srtp']).default('plain'),
  /** Who calls, as the trunk knows it: the user of our own address. */
  user: word,
  /** Domain of our own address, where the trunk asks for one. */
  domain: word.optional(),
  auth: z.strictObject({ user: word, password: secretReference }).optional(),
  /** Our own address towards the trunk. */
  localAddress: address,
  /** For sound: four a line. */
  rtpPorts: z.strictObject({ from: port, to: port }).default({ from: 20_000, to: 20_399 }),
  /** Beginnings of numbers that may be called, so that no fault or fraud calls expensive ones. */
  allow: z.array(z.string().regex(/^\+\d{1,15}$/, 'Write + and digits, e.g. +1613.')).min(1),
  /** Whether the trunk wants the + of a number. */
  plus: z.boolean().default(true),
  /** Calls at a time. */
  lines: z.int().min(1).max(100).default(5),
  /** Below the half minute after which voicemail usually answers. */
  ringSeconds: z.int().min(1).max(120).default(25),
  /** A machine is told who called and which number to call back, or nothing. */
  machine: z.enum(['leave-word', 'hang-up']).default('leave-word'),
  speech: z
    .strictObject({
      /** Voice of espeak-ng by language code; instead of the usual ones. */
      voices: z.record(z.string(), word).optional(),
      wordsPerMinute: z.int().min(80).max(300).default(160),
    })
    .prefault({}),
})

type Described = z.infer<typeof sipConfig>
export type SipConfig = Described & { trunk: { port: number } }

const PORTS_A_LINE = 4

const checked = sipConfig
  .refine(({ rtpPorts, lines }) => rtpPorts.to - rtpPorts.from + 1 >= lines * PORTS_A_LINE, {
    path: ['rtpPorts'],
    message: 'Give four ports for each of the lines.',
  })
  .refine(({ trunk, localAddress }) => isIPv6(trunk.host) === isIPv6(localAddress), {
    path: ['localAddress'],
    message: 'Write an address of the same kind as the one of the trunk: both IPv4, or both IPv6.',
  })
  .refine(({ media, transport }) => media === 'plain' || transport === 'tls', {
    path: ['media'],
    message: 'The keys of srtp travel in the signalling: use it with transport: tls, or whoever listens has them.',
  })
  .refine(({ tls, transport }) => tls === undefined || transport === 'tls', {
    path: ['tls'],
    message: 'This is for transport: tls. Set that, or leave tls out.',
  })

/** Checks the description of a SIP gateway. @throws Failure `bad-input` with every fault at once. */
export function readSipConfig(raw: unknown): SipConfig {
  const config = readDescribed(checked, raw)
  const port = config.trunk.port ?? (config.transport === 'tls' ? 5061 : 5060)
  return { ...config, trunk: { ...config.trunk, port } }
}

/** The ports of one line, counted from 0. */
export function portsOf({ rtpPorts }: SipConfig, line: number): { from: number; to: number } {
  const from = rtpPorts.from + line * PORTS_A_LINE
  return { from, to: from + PORTS_A_LINE - 1 }
}

/** Of addresses: version 4 or 6 of IP. */
export function familyOf({ localAddress }: Pick<SipConfig, 'localAddress'>): 4 | 6 {
  return isIPv6(localAddress) ? 6 : 4
}

/** An address as it stands before a port: RFC 3261 §25.1. */
export function hostOf(address: string): string {
  return isIPv6(address) ? `[${address}]` : address
}
