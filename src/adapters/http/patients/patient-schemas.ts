import * as z from 'zod'
import { CHANNELS } from '../../../domain/messages/texts/kinds.ts'
import { REACHES } from '../../../domain/patients/reach.ts'
import { RELATIONS } from '../../../domain/patients/receiver.ts'

/** Who somebody is, how that person is reached, and what was agreed to, as bodies of the API say it. */

export const date = z.iso.date('Write the date as YYYY-MM-DD; it must exist.')
export const by = z.string().trim().min(1).max(80).describe('Who does this, for the record: a role or initials.')
const livesIn = z
  .string()
  .max(64)
  .describe("IANA zone, if the patient lives in another than the visit's: messages keep to its hours.")
const name = z.string().trim().min(1, 'Give the name.').max(120)

const birthDate = date
  .refine((day) => day >= '1900-01-01', 'Check the year of birth.')
  .describe('Tells patients of one name, or at one number, apart.')
const ownNumber = z.string().trim().min(1).max(40).describe("The patient's number in the clinic's own records.")

const channel = z
  .enum(CHANNELS)
  .describe('As known before where it is left out; for a new patient `sms`, or the only one that reaches the patient.')
const email = z
  .string()
  .max(254)
  .nullable()
  .describe('For whoever asked for e-mail. As known before where it is left out; null: use none.')
const detail = z
  .enum(['full', 'discreet'])
  .describe(
    '`discreet` names neither test nor reason. As known before where it is left out; for a new patient `full`, ' +
      'or `discreet` where somebody else receives.',
  )
const reach = z
  .enum(REACHES)
  .describe(
    '`calls-only`: a landline. `texts-only`: the patient does not hear a call. `neither`: both at once, a person ' +
      'finds another way. As known before where it is left out; a landline is forgotten with its number.',
  )
const receiver = z
  .strictObject({
    relation: z.enum(RELATIONS),
    name: z.string().trim().min(1, 'Give the name of whoever receives.').max(120),
    fullDetail: z.boolean().optional().describe('The patient agreed that these messages name the preparation.'),
  })
  .nullable()
  .describe('Who reads the messages in the patient’s stead; null: the patient. As known before where it is left out.')

export const patientSchema = z.strictObject({
  name,
  birthDate: birthDate.optional(),
  ownNumber: ownNumber.optional(),
  phone: z.string().min(3).max(40).describe('Any usual national form, or + and country code.'),
  language: z.string().min(2).max(10).default('en').describe('One of GET /languages.'),
  channel: channel.optional(),
  detail: detail.optional(),
  reach: reach.optional(),
  email: email.optional(),
  receiver: receiver.optional(),
  zone: livesIn.optional(),
})

export const patientAmendmentSchema = z.strictObject({
  name: name.optional(),
  birthDate: birthDate.optional(),
  ownNumber: ownNumber.optional(),
  phone: z.string().min(3).max(40).optional(),
  language: z.string().min(2).max(10).optional(),
  channel: channel.optional(),
  detail: detail.optional(),
  reach: reach.optional(),
  email: email.optional(),
  receiver: receiver.optional(),
  zone: livesIn.optional(),
})

export const consentSchema = z
  .strictObject({
    recordedBy: by,
    recordedAt: z.string().max(40).optional(),
    wording: z.string().max(500).optional(),
    until: date.optional().describe('The last day on which it holds, where the patient lives.'),
  })
  .describe('Who wrote down that whoever reads the messages agreed to them, when, and in which words it was asked.')
