import * as z from 'zod'
import { gatewayName, readDescribed, secretReference } from '../described.ts'

const octet = z.number().int().min(0).max(255)
const ms = (usual: number) => z.number().int().min(10).max(600_000).default(usual)
const idFormat = z.enum(['text', 'decimal', 'hex'])
const outcome = z.enum(['rejected', 'later', 'throttled', 'misconfigured'])

const smppConfig = z.strictObject({
  kind: z.literal('smpp'),
  name: gatewayName,
  onUnknown: z.enum(['resend', 'ask-desk']).default('ask-desk'),
  host: z.string().min(1),
  port: z.number().int().min(1).max(65_535).default(2775),
  /** The certificate is always verified. `caFile` holds the authority (PEM) where it is no public one. */
  tls: z.strictObject({ caFile: z.string().optional(), serverName: z.string().optional() }).optional(),
  systemId: z.string().max(15),
  password: secretReference,
  systemType: z.string().max(12).default(''),
  /** `pair`: a transmitter and a receiver connection, for peers that know no transceiver. */
  bind: z.enum(['transceiver', 'pair']).default('transceiver'),
  /** Sender. Type and plan of the number are told from its form unless given. */
  from: z
    .strictObject({ address: z.string().max(20).default(''), ton: octet.optional(), npi: octet.optional() })
    .prefault({}),
  to: z.strictObject({ ton: octet.default(1), npi: octet.default(1), plus: z.boolean().default(false) }).prefault({}),
  /**
   * Country whose national numbers replies may come from; without it, digits are taken as E.164 with or without `+`.
   */
  country: z
    .string()
    .regex(/^[A-Z]{2}$/)
    .optional(),
  serviceType: z.string().max(5).default(''),
  /** What the peer means by data_coding 0, and by 1: a few send GSM octets under it. */
  alphabet: z.enum(['gsm7', 'latin1']).default('gsm7'),
  ia5: z.enum(['ascii', 'gsm7']).default('ascii'),
  /** How texts of more than one segment travel. */
  long: z.enum(['udh', 'sar', 'payload']).default('udh'),
  validity: z.enum(['absolute', 'relative', 'none']).default('absolute'),
  registeredDelivery: octet.default(1),
  /**
   * How the peer writes message ids when it accepts, in the text of a receipt, and in its TLV. `text`: compared sign by
   * sign.
   */
  ids: z
    .strictObject({
      accept: idFormat.default('decimal'),
      receipt: idFormat.default('decimal'),
      receiptTlv: idFormat.optional(),
    })
    .prefault({}),
  /** What the peer's own status codes mean, e.g. `0x0410: rejected`. */
  statuses: z
    .record(z.string().regex(/^0x[0-9a-f]{4,8}$/, 'Write the status as 0x and four small hexadecimal digits.'), outcome)
    .default({}),
  window: z.number().int().min(1).max(1000).default(10),
  ratePerSecond: z.number().positive().max(10_000).optional(),
  connectMs: ms(10_000),
  answerMs: ms(10_000),
  enquireMs: ms(30_000),
  reconnectMs: ms(1_000),
  reconnectMaxMs: ms(60_000),
  /** First pause after the peer says it is too fast; doubled each time, up to half a minute. */
  pauseMs: ms(1_000),
  /** How long a reply waits for its missing parts before it is heard without them. */
  reassemblyMs: ms(120_000),
})

export type SmppConfig = z.infer<typeof smppConfig>

/** Checks the description of an SMPP gateway. @throws Failure `bad-input` with every fault at once. */
export function readSmppConfig(raw: unknown): SmppConfig {
  return readDescribed(smppConfig, raw)
}
