import { handsDoubt, isUnsettled, type HandsDoubt } from '../../domain/patients/changed-hands.ts'
import { badInput } from '../../domain/failure.ts'
import { dateIn, toInstant } from '../../domain/local-time.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Deps, Records } from '../ports/deps.ts'
import type { ToldConsent } from '../visits/booking-request.ts'

/** What whoever reads the messages is asked. */
const USUAL_WORDING = 'May we send you messages about this visit, to this number?'
export const RECEIVER_WORDING = 'May we send you the messages about this patient’s visit, to this number?'

/** The question as it is asked where messages go by this channel. */
export const askedOf = (words: string, channel: string): string =>
  channel === 'email' ? words.replace('to this number', 'to this e-mail address') : words

const ASK = {
  receiver:
    'Somebody else reads this patient’s messages. Read out to that person what stands here now, and tick again.',
  patient: 'The patient reads the messages. Read out to the patient what stands here now, and tick again.',
} as const

/**
 * A consent as it is recorded: to the patient's channel, by whoever reads the messages.
 * @param zone of local times in it
 * @throws bad-input for an end that has passed already, or where somebody else was asked
 */
export function consentOf(deps: Deps, patient: Patient, zone: string, told: ToldConsent): Consent {
  const now = deps.clock.now()
  const { recordedBy, recordedAt, until } = told
  if (until && until < dateIn(now, zone))
    badInput('consent.until', 'This day has passed: the consent would not hold. Give a day to come, or none.')
  const givenBy = patient.receiver ? 'receiver' : 'patient'
  if (told.givenBy && told.givenBy !== givenBy) badInput('consent.givenBy', ASK[givenBy])
  const at = recordedAt ? toInstant(recordedAt, zone, 'consent.recordedAt') : now
  return {
    channel: patient.channel,
    recordedBy,
    // By a clock that is ahead it would be newer than what raises doubts of it later.
    recordedAt: at < now ? at : now,
    wording: told.wording ?? askedOf(givenBy === 'receiver' ? RECEIVER_WORDING : USUAL_WORDING, patient.channel),
    until: until ?? null,
    givenBy,
  }
}

/**
 * Whether the number of a patient may have changed hands since it was last agreed to messages. Looked at whenever
 * consent is told or rested on: when a visit is booked or amended, when many consents are recorded, and at START. A
 * doubt of before stays on record: consent from before it never counts again.
 * @param before only what was seen earlier counts; null = everything
 */
export async function doubtOf(
  records: Records,
  deps: Deps,
  patient: Patient,
  consents: readonly Consent[],
  { id, settings }: Clinic,
  before: Date | null = null,
): Promise<HandsDoubt | null> {
  if (consents.length === 0) return patient.handsDoubt ?? null
  const known = {
    consents,
    signs: await records.messages.signsOf(patient.phone, id, before),
    lifted: patient.wrongPersonLifted ?? null,
    numberSince: patient.numberSince ?? null,
    now: deps.clock.now(),
    months: settings.askAgainMonths,
  }
  return handsDoubt(known) ?? patient.handsDoubt ?? null
}

/** The doubt that nobody's consent has settled yet: whoever answers there now cannot settle it alone. */
export async function unsettledDoubt(...about: Parameters<typeof doubtOf>): Promise<HandsDoubt | null> {
  const [, , , consents] = about
  const doubt = await doubtOf(...about)
  return doubt && isUnsettled(doubt, consents) ? doubt : null
}
