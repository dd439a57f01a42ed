import * as z from 'zod'

const file = z.string().min(1).nullable().default(null)
const secret = z
  .string()
  .regex(/^env:[A-Z][A-Z0-9_]*$/, 'Put the secret in the environment and name it here as env:NAME.')

/** Where a feed is told that a patient chose another time. */
export const tellSchema = z.discriminatedUnion('by', [
  z.strictObject({
    by: z.literal('mllp'),
    host: z.string().min(1),
    port: z.number().int().min(1).max(65_535),
    tls: z.boolean().default(true),
    ca: file,
    cert: file,
    key: file,
    application: z.string().min(1).describe('MSH-5 of what is told.'),
    facility: z.string().default('').describe('MSH-6 of what is told.'),
  }),
  z.strictObject({
    by: z.literal('webhook'),
    address: z.url({ protocol: /^https?$/, error: 'Give the address that is told: https://…' }),
    keyId: z.string().min(1).default('daysix'),
    secret,
  }),
])
