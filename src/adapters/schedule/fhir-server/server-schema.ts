import * as z from 'zod'

const name = z.string().min(1).max(500)

/** A FHIR server that is asked for what has changed. */
export const serverSchema = z.strictObject({
  base: z.url({ protocol: /^https?$/, error: 'Give the address of the server: https://…' }),
  search: z
    .string()
    .regex(/^Appointment(\?|$)/, 'Ask for appointments: Appointment?…')
    .default('Appointment?_include=Appointment:patient&_include=Appointment:actor&_include=Appointment:slot'),
  ca: name.optional().describe('Certificates in PEM that are trusted in place of the usual ones: a file.'),
  token: z
    .strictObject({
      clientId: name,
      keyFile: name.describe('Our private key: JWK or PKCS#8.'),
      keyId: name,
      algorithm: z.enum(['ES384', 'RS384']).default('ES384'),
      scope: name.default('system/Appointment.rs system/Patient.rs'),
      address: z.url().nullable().default(null),
    })
    .nullable()
    .default(null),
})
