import * as z from 'zod'
import { gatewayName, readDescribed } from '../described.ts'

const folder = z.string().startsWith('/', 'Name the folder by its whole path.')

const schema = z.strictObject({
  kind: z.literal('modem'),
  name: gatewayName,
  /** The four folders of the modem's daemon. */
  outbox: folder,
  sent: folder,
  error: folder,
  inbox: folder,
  /**
   * Seconds that the daemon has to send a message. Longer than all its own tries together: what is taken back after
   * them was certainly not sent.
   */
  patienceSeconds: z.number().int().min(5).max(900).default(180),
  /** A modem on a usual contract is shut off for sending like a machine. */
  perMinute: z.number().min(0.5).max(60).default(10),
  onUnknown: z.enum(['resend', 'ask-desk']).default('ask-desk'),
})

export type ModemConfig = z.infer<typeof schema>

/** @throws Failure `bad-input` with every fault of the description */
export const readModemConfig = (described: unknown): ModemConfig => readDescribed(schema, described)
