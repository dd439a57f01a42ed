import * as z from 'zod'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { checkHours } from '../../domain/preparation/sending-hours.ts'

/** Request bodies and queries of the API. The OpenAPI document is generated from these. */

const date = z.iso.date('Write the date as YYYY-MM-DD; it must exist.')
const id = z.string().min(1).max(64)
const by = z.string().trim().min(1).max(80).describe('Who does this, for the record: a role or initials.')
const visit = z.string().max(40).describe('Local time in `zone`, e.g. 2026-03-20T10:30, or an instant with offset.')
const name = z.string().trim().min(1, 'Give the name.').max(120)

export const cycleSchema = z
  .strictObject({
    lmp: z.union([z.literal('unknown'), z.literal('no-periods'), date], 'Give the first day of the last period as YYYY-MM-DD, or "unknown", or "no-periods".'),
    lmpGiveDays: z.int().min(0).max(15).optional().describe('"About": the true day lies within so many days either side.'),
    usualCycleDays: z.int().min(15).max(90).optional(),
    regularity: z.enum(['regular', 'irregular']).optional(),
    scheduledBleeds: z.boolean().optional().describe('Hormonal contraception with scheduled bleeds.'),
    pastCycleDays: z.array(z.int().min(1).max(400)).max(60).optional(),
    pastStarts: z.array(date).max(60).optional(),
    age: z.int().min(5).max(120).optional(),
  })
  .describe('What the patient says of the cycle. Used only to time the specimen.')

/** The API's way of saying LMP as the domain's. */
export function toHistory({ lmp, ...rest }: z.infer<typeof cycleSchema>, toldOn: string): CycleHistory {
  const known = Object.fromEntries(Object.entries(rest).filter(([, value]) => value !== undefined))
  if (lmp === 'unknown') return { status: 'unknown', ...known }
  if (lmp === 'no-periods') return { status: 'no-periods', ...known }
  return { status: 'cycling', lmp, toldOn, ...known }
}

const patientSchema = z.strictObject({
  name,
  phone: z.string().min(3).max(40).describe('Any usual national form, or + and country code.'),
  language: z.string().min(2).max(10).default('en').describe('One of GET /languages.'),
  channel: z.enum(['sms', 'voice']).default('sms'),
  detail: z.enum(['full', 'discreet']).default('full').describe('`discreet` names neither test nor reason.'),
})

const consentSchema = z
  .strictObject({ recordedBy: by, recordedAt: z.string().max(40).optional(), wording: z.string().max(500).optional() })
  .describe('Who wrote down that the patient agreed to messages, when, and in which words the patient was asked.')

export const bookingSchema = z.strictObject({
  clinic: id.optional().describe('May be left out where there is only one clinic.'),
  clinician: z.string().max(80).optional(),
  protocol: z.string().max(64).default('liquid-based-cytology'),
  visit,
  zone: z.string().max(64).optional().describe("IANA zone; the clinic's by default."),
  patient: patientSchema,
  cycle: cycleSchema,
  consent: consentSchema.nullable().default(null).describe('Without consent nothing is sent: the desk must call.'),
  by: by.default('desk'),
})

const scope = id.optional().describe('One clinic; everybody without it.')

export const stopSchema = z.strictObject({
  clinic: scope,
  why: z.string().trim().min(1, 'Say why, for whoever resumes it.').max(300).describe('Shown on every page. No names of patients.'),
})

export const resumeSchema = z.strictObject({
  clinic: scope,
  backlog: z.enum(['send', 'call'], 'Say what becomes of what was due meanwhile: "send" what is still worth it, or "call".'),
})

export const amendmentSchema = z.strictObject({
  visit: visit.optional(),
  zone: z.string().max(64).optional(),
  clinician: z.string().max(80).optional(),
  protocol: z.string().max(64).optional(),
  patient: z
    .strictObject({
      name: name.optional(),
      phone: z.string().min(3).max(40).optional(),
      language: z.string().min(2).max(10).optional(),
      channel: z.enum(['sms', 'voice']).optional(),
      detail: z.enum(['full', 'discreet']).optional(),
    })
    .optional(),
  cycle: cycleSchema.optional(),
  consent: consentSchema.optional(),
  by: by.default('desk'),
})

const wholeNumber = (most: number, usual: number) => z.coerce.number().int().min(1).max(most).default(usual)

export const bookingListSchema = z.strictObject({
  clinic: id.optional(),
  day: date.optional().describe("One local day, in the clinic's zone (or UTC without a clinic)."),
  from: date.optional(),
  to: date.optional().describe('Exclusive.'),
  state: z.enum(['booked', 'cancelled']).optional(),
  limit: wholeNumber(200, 50),
  cursor: z.string().max(200).optional().describe('`next` of the page before.'),
})

export const openingsSchema = z.strictObject({
  clinic: id,
  clinician: z.string().max(80).optional(),
  at: z.array(visit).min(1).max(500),
})

export const openingListSchema = z.strictObject({
  clinic: id,
  from: date.optional(),
  to: date.optional(),
  limit: wholeNumber(500, 100),
})

export const followUpListSchema = z.strictObject({
  clinic: id.optional(),
  state: z.enum(['open', 'closed']).default('open'),
  limit: wholeNumber(200, 50),
})

export const closingSchema = z.strictObject({ by, outcome: z.string().trim().min(1, 'Say what came of it.').max(500) })

export const settleSchema = z.strictObject({ by, approve: z.boolean() })

export const cancelSchema = z.strictObject({ by: by.default('desk') })

const clock = z.string().regex(/^([01]\d|2[0-3]):[0-5]\d$/, 'Write the time as HH:MM.')
const hours = z.strictObject({ from: clock, to: clock })

export const clinicSchema = z.strictObject({
  name: z.string().trim().min(1).max(24, 'At most 24 characters, so that every text fits one message.'),
  phone: z.string().min(3).max(40),
  zone: z.string().max(64),
  country: z.string().regex(/^[A-Z]{2}$/, 'Two capital letters, e.g. CA.'),
  settings: z
    .strictObject({
      hours: z
        .strictObject({ weekdays: hours, weekend: hours })
        .superRefine((value, context) => checkHours(value).forEach((message) => context.addIssue({ code: 'custom', message })))
        .default({ weekdays: { from: '09:00', to: '20:00' }, weekend: { from: '09:00', to: '20:00' } }),
      movePolicy: z.enum(['at-once', 'desk-approves']).default('at-once'),
      lapsePolicy: z.enum(['offer', 'desk-decides']).default('desk-decides'),
      holdHours: z.int().min(1).max(168).default(24),
      minConfidence: z.number().min(0).max(1).default(0.65),
      gateway: id.default('pocket'),
    })
    .prefault({}),
})
