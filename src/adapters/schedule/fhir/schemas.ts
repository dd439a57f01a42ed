import { DateTime } from 'luxon'
import * as z from 'zod'
import { APPOINTMENT_STATUSES } from '../statuses.ts'

// FHIR R4 4.0.1 (https://hl7.org/fhir/R4), the few elements that are read; others are let through. What FHIR forbids
// is refused here: null, empty strings and lists, an `instant` without seconds or offset, a code of no table.

const real = (written: string) => DateTime.fromISO(written, { setZone: true }).isValid
const text = z.string().min(1)
const code = z.string().regex(/^[^\s]+(\s[^\s]+)*$/, 'is no FHIR code')
const uri = z.string().regex(/^\S+$/, 'is no FHIR uri')
const id = z.string().regex(/^[A-Za-z0-9\-.]{1,64}$/, 'is no FHIR id')

const INSTANT = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$/
export const instant = z
  .string()
  .refine(
    (written) => INSTANT.test(written) && real(written),
    'must be an instant: seconds and an offset, as FHIR says',
  )

const DATE_TIME = /^\d{4}(-\d\d(-\d\d(T\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d))?)?)?$/
const dateTime = z.string().refine((written) => DATE_TIME.test(written) && real(written), 'is no FHIR date')
const date = dateTime.refine((written) => !written.includes('T'), 'is no FHIR date')

const coding = z.object({ system: uri.optional(), code: code.optional(), display: text.optional() })
const concept = z.object({ coding: z.array(coding).min(1).optional(), text: text.optional() })
const period = z.object({ start: dateTime.optional(), end: dateTime.optional() })
const identifier = z.object({
  use: z.enum(['usual', 'official', 'temp', 'secondary', 'old']).optional(),
  type: concept.optional(),
  system: uri.optional(),
  value: text.optional(),
  period: period.optional(),
})
const reference = z.object({
  reference: text.optional(),
  type: uri.optional(),
  identifier: identifier.optional(),
  display: text.optional(),
})
const extension = z.object({
  url: z.string(),
  valueBoolean: z.boolean().optional(),
  valueCode: code.optional(),
  valueString: text.optional(),
  valueCoding: coding.optional(),
})
const resource = {
  id: id.optional(),
  meta: z.object({ versionId: id.optional(), lastUpdated: instant.optional() }).optional(),
  extension: z.array(extension).min(1).optional(),
}
const identifiers = z.array(identifier).min(1).optional()

export const appointmentSchema = z.object({
  ...resource,
  identifier: identifiers,
  status: z.enum(APPOINTMENT_STATUSES),
  serviceType: z.array(concept).min(1).optional(),
  appointmentType: concept.optional(),
  reasonCode: z.array(concept).min(1).optional(),
  start: instant.optional(),
  end: instant.optional(),
  minutesDuration: z.int().positive().optional(),
  slot: z.array(reference).min(1).optional(),
  participant: z
    .array(
      z.object({
        type: z.array(concept).min(1).optional(),
        actor: reference.optional(),
        status: z.enum(['accepted', 'declined', 'tentative', 'needs-action']),
      }),
    )
    .min(1),
})

export const patientSchema = z.object({
  ...resource,
  identifier: identifiers,
  active: z.boolean().optional(),
  name: z
    .array(
      z.object({
        use: z.enum(['usual', 'official', 'temp', 'nickname', 'anonymous', 'old', 'maiden']).optional(),
        text: text.optional(),
        family: text.optional(),
        given: z.array(text).min(1).optional(),
        period: period.optional(),
      }),
    )
    .min(1)
    .optional(),
  telecom: z
    .array(
      z.object({
        system: z.enum(['phone', 'fax', 'email', 'pager', 'url', 'sms', 'other']).optional(),
        value: text.optional(),
        use: z.enum(['home', 'work', 'temp', 'old', 'mobile']).optional(),
        rank: z.int().positive().optional(),
        period: period.optional(),
      }),
    )
    .min(1)
    .optional(),
  birthDate: date.optional(),
  deceasedBoolean: z.boolean().optional(),
  deceasedDateTime: dateTime.optional(),
  communication: z
    .array(z.object({ language: concept, preferred: z.boolean().optional() }))
    .min(1)
    .optional(),
  link: z
    .array(z.object({ other: reference, type: z.enum(['replaced-by', 'replaces', 'refer', 'seealso']) }))
    .min(1)
    .optional(),
})

export const slotSchema = z.object({
  ...resource,
  schedule: reference,
  status: z.enum(['busy', 'free', 'busy-unavailable', 'busy-tentative', 'entered-in-error']),
  start: instant,
  end: instant,
  overbooked: z.boolean().optional(),
})

export const scheduleSchema = z.object({
  ...resource,
  identifier: identifiers,
  active: z.boolean().optional(),
  actor: z.array(reference).min(1),
})

export const observationSchema = z.object({
  ...resource,
  status: z.enum([
    'registered',
    'preliminary',
    'final',
    'amended',
    'corrected',
    'cancelled',
    'entered-in-error',
    'unknown',
  ]),
  code: concept,
  subject: reference.optional(),
  effectiveDateTime: dateTime.optional(),
  effectiveInstant: instant.optional(),
  valueDateTime: dateTime.optional(),
  dataAbsentReason: concept.optional(),
})

/** What is named by a reference only: a place, a clinician, a service. */
export const actorSchema = z.object({
  ...resource,
  identifier: identifiers,
  name: z.unknown().optional(),
})

export const bundleSchema = z.object({
  type: z.string(),
  timestamp: instant.optional(),
  entry: z
    .array(
      z.object({
        fullUrl: uri.optional(),
        resource: z.record(z.string(), z.unknown()).optional(),
        search: z.object({ mode: z.enum(['match', 'include', 'outcome']).optional() }).optional(),
        request: z.object({ method: code, url: uri }).optional(),
        response: z.object({ etag: text.optional(), lastModified: instant.optional() }).optional(),
      }),
    )
    .optional(),
})

export type Appointment = z.infer<typeof appointmentSchema>
export type Patient = z.infer<typeof patientSchema>
export type Identifier = z.infer<typeof identifier>
export type Reference = z.infer<typeof reference>
export type Concept = z.infer<typeof concept>
export type Period = z.infer<typeof period>
export type Bundle = z.infer<typeof bundleSchema>
export type Common = { id?: string | undefined; meta?: Appointment['meta']; extension?: Appointment['extension'] }
