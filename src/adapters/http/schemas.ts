import * as z from 'zod'
import { NO_PERIODS_BECAUSE, type CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { BECAUSE, OUTCOME_KINDS } from '../../domain/visits/outcome.ts'
import { LONGEST_MINUTES, SHORTEST_MINUTES } from '../../domain/visits/duration.ts'
import { PURPOSE_NAMES } from '../../domain/visits/purpose.ts'
import { USUAL_MOVE_LIMIT } from '../../domain/visits/move-limit.ts'
import { checkHours } from '../../domain/preparation/sending-hours.ts'
import { LONGEST_ASK_AGAIN_MONTHS, USUAL_ASK_AGAIN_MONTHS } from '../../domain/patients/changed-hands.ts'
import { CALENDAR_OUT, CLOCK_HOURS, EMERGENCY_NUMBER } from '../../domain/region/clinic.ts'
import { by, consentSchema, date, patientAmendmentSchema, patientSchema } from './patients/patient-schemas.ts'

/** Request bodies and queries of the API. The OpenAPI document is generated from these. */

const id = z.string().min(1).max(64)
const visit = z.string().max(40).describe('Local time in `zone`, e.g. 2026-03-20T10:30, or an instant with offset.')
const AS_LMP =
  'Give the first day of the last period as YYYY-MM-DD, a date that exists, or "unknown", "no-periods" or "pregnant".'

export const cycleSchema = z
  .strictObject({
    // Said twice: the union's own words are for what is no text at all.
    lmp: z.union([z.enum(['unknown', 'no-periods', 'pregnant']), z.iso.date(AS_LMP)], AS_LMP),
    because: z
      .enum(NO_PERIODS_BECAUSE)
      .optional()
      .describe('Why there are no periods; only with `lmp: "no-periods"`. Scheduled bleeds are `scheduledBleeds`.'),
    lmpGiveDays: z
      .int()
      .min(0)
      .max(15)
      .optional()
      .describe('"About": the true day lies within so many days either side.'),
    usualCycleDays: z.int().min(15).max(90).optional(),
    regularity: z.enum(['regular', 'irregular']).optional(),
    scheduledBleeds: z.boolean().optional().describe('Hormonal contraception with scheduled bleeds.'),
    pastCycleDays: z.array(z.int().min(1).max(400)).max(60).optional(),
    pastStarts: z.array(date).max(60).optional(),
    age: z.int().min(5).max(120).optional(),
  })
  .refine(({ lmp, because }) => because === undefined || lmp === 'no-periods', {
    path: ['because'],
    message: 'Give this only with `lmp: "no-periods"`, or leave it out.',
  })
  .describe('What the patient says of the cycle. Used only to time the specimen.')

/** The API's way of saying LMP as the domain's. */
export function toHistory({ lmp, ...rest }: z.infer<typeof cycleSchema>, toldOn: string): CycleHistory {
  const known = Object.fromEntries(Object.entries(rest).filter(([, value]) => value !== undefined))
  if (lmp === 'unknown' || lmp === 'no-periods' || lmp === 'pregnant') return { status: lmp, ...known }
  return { status: 'cycling', lmp, toldOn, ...known }
}

const purpose = z
  .enum(PURPOSE_NAMES)
  .describe('Why the patient comes. Anything but `routine` is never put off for the sake of timing.')
const dueBy = date.nullable().describe('The specimen should be collected by this day. From then on it is not put off.')

const minutes = z.int().min(SHORTEST_MINUTES).max(LONGEST_MINUTES)
const lasting = minutes.describe("How long the visit lasts; the clinic's or the protocol's length without it.")
const overbook = z
  .boolean()
  .describe('Book it on purpose though the clinician is busy with somebody else, or the time is held, then.')

export const bookingSchema = z.strictObject({
  clinic: id.optional().describe('May be left out where there is only one clinic.'),
  clinician: z.string().max(80).optional(),
  protocol: z.string().max(64).default('liquid-based-cytology'),
  visit,
  minutes: lasting.optional(),
  overbook: overbook.default(false),
  zone: z.string().max(64).optional().describe("IANA zone; the clinic's by default."),
  patient: patientSchema,
  purpose: purpose.default('routine'),
  dueBy: dueBy.default(null),
  cycle: cycleSchema,
  consent: consentSchema.nullable().default(null).describe('Without consent nothing is sent: the desk must call.'),
  by: by.default('desk'),
})

const scope = id.optional().describe('One clinic; everybody without it.')

export const stopSchema = z.strictObject({
  clinic: scope,
  why: z
    .string()
    .trim()
    .min(1, 'Say why, for whoever resumes it.')
    .max(300)
    .describe('Shown on every page. No names of patients.'),
})

export const resumeSchema = z.strictObject({
  clinic: scope,
  backlog: z.enum(
    ['send', 'call'],
    'Say what becomes of what was due meanwhile: "send" what is still worth it, or "call".',
  ),
})

export const amendmentSchema = z.strictObject({
  visit: visit.optional(),
  minutes: lasting.optional(),
  overbook: overbook.optional(),
  zone: z.string().max(64).optional(),
  clinician: z.string().max(80).optional(),
  protocol: z.string().max(64).optional(),
  patient: patientAmendmentSchema.optional(),
  purpose: purpose.optional(),
  dueBy: dueBy.optional(),
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
  minutes: minutes
    .optional()
    .describe('How long each lasts: longer visits are not offered it. Without it, as long as there is room.'),
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

export const outcomeSchema = z
  .strictObject({
    kind: z.enum(OUTCOME_KINDS),
    because: z.enum(BECAUSE).nullable().default(null).describe('Why nothing was collected; with `not-collected` only.'),
    by,
  })
  .describe('How the visit ended. Nothing of a finding or a diagnosis.')

export const cancelSchema = z.strictObject({ by: by.default('desk') })

const clock = z.string().regex(/^([01]\d|2[0-3]):[0-5]\d$/, 'Write the time as HH:MM.')
const hours = z.strictObject({ from: clock, to: clock })

const EMERGENCY_FAULT = 'Write two to six digits, e.g. "911"; null, on a form an empty field, where there is none.'

export const clinicSchema = z.strictObject({
  name: z.string().trim().min(1).max(24, 'At most 24 characters, so that every text fits one message.'),
  phone: z.string().min(3).max(40),
  zone: z.string().max(64),
  country: z.string().regex(/^[A-Z]{2}$/, 'Two capital letters, e.g. CA.'),
  settings: z
    .strictObject({
      hours: z
        .strictObject({ weekdays: hours, weekend: hours })
        .superRefine((value, context) =>
          checkHours(value).forEach((message) =>
            context.addIssue({ code: 'custom', path: [message.split(':', 1)[0]!], message }),
          ),
        )
        .default({ weekdays: { from: '09:00', to: '20:00' }, weekend: { from: '09:00', to: '20:00' } }),
      movePolicy: z.enum(['at-once', 'desk-approves', 'schedule-decides']).default('at-once'),
      lapsePolicy: z.enum(['offer', 'desk-decides']).default('desk-decides'),
      moveLimit: z
        .strictObject({ moves: z.int().min(0).max(10), weeks: z.int().min(0).max(26) })
        .default(USUAL_MOVE_LIMIT)
        .describe('How often, and how many weeks beyond its first time, a patient may move a visit by text.'),
      minors: z
        .strictObject({ below: z.int().min(1).max(25), then: z.enum(['guardian', 'person']) })
        .nullable()
        .default(null)
        .describe(
          'Below this age at the visit a guardian must receive the messages, or a person tells and nothing is sent. ' +
            'Null: no rule of the clinic’s own. Local law prevails.',
        ),
      calendar: z.enum(CALENDAR_OUT).default('none').describe('Whether calendars elsewhere may show its visits.'),
      calendarEdition: z
        .int()
        .min(1)
        .max(9999)
        .default(1)
        .describe('Another number makes every address of its calendars another.'),
      askAgainMonths: z
        .int()
        .min(1)
        .max(LONGEST_ASK_AGAIN_MONTHS)
        .default(USUAL_ASK_AGAIN_MONTHS)
        .describe('A number where nothing was heard or delivered for so long is asked for consent again.'),
      secondOnPaper: z.boolean().default(false).describe('Whether birth dates and own numbers are printed.'),
      visitMinutes: minutes.nullable().default(null).describe('How long a visit lasts; null: as its protocol says.'),
      holdHours: z.int().min(1).max(168).default(24),
      minConfidence: z.number().min(0).max(1).default(0.65),
      gateway: id.default('pocket'),
      emergency: z
        .string({ error: EMERGENCY_FAULT })
        .regex(EMERGENCY_NUMBER, EMERGENCY_FAULT)
        .nullable()
        .default(null)
        .describe('What patients of this clinic dial in an emergency; null: texts say “your local emergency number”.'),
      clock: z.enum(CLOCK_HOURS).default('24').describe('How the pages of the desk write times.'),
      address: z.string().trim().min(1).max(200).nullable().default(null).describe('On the private page.'),
      directions: z
        .string()
        .trim()
        .min(1)
        .max(400)
        .nullable()
        .default(null)
        .describe('How to find the clinic, on the private page.'),
    })
    .prefault({}),
})
