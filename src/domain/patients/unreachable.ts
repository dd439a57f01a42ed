import type { FollowUpReason } from '../calls/follow-up.ts'
import { dateIn } from '../local-time.ts'
import type { Channel } from '../messages/texts/kinds.ts'
import type { Clinic } from '../region/clinic.ts'
import type { Refusal } from '../replies/decide-for-number.ts'
import type { Booking } from '../visits/booking.ts'
import { whyNoConsent, type CountedConsent } from './consent.ts'
import { homeZone } from './home-zone.ts'
import { missingForMinor, type MinorsRule } from './minors.ts'
import type { Patient } from './patient.ts'
import { reaches } from './reach.ts'

/** Why a patient may not be written to. Each is a call that somebody must make. */
export type Unreachable = Extract<FollowUpReason, 'died' | 'wrong-person' | 'opted-out' | 'person-tells' | 'no-consent'>

/** Calls that end by themselves once the patient may be written to again. */
export const UNREACHABLE: ReadonlySet<FollowUpReason> = new Set<Unreachable>([
  'died',
  'wrong-person',
  'opted-out',
  'person-tells',
  'no-consent',
])

/** What stands between a message and the patient. */
export interface Obstacle {
  reason: Unreachable
  /** What a withdrawn message says, too. */
  code: 'unreadable' | 'died' | 'opted-out' | 'minor' | 'no-such-way' | 'no-consent'
  /** What the desk reads beside the call. */
  why?: string
}

/** Who would be written to, about what, when and by which way. */
export interface Approach {
  patient: Patient
  clinic: Clinic
  booking: Pick<Booking, 'visitAt' | 'zone'> | null
  /** What the number refuses. */
  refused: Refusal | null
  consents: readonly CountedConsent[]
  channel: Channel
  at: Date
}

/** Everything that stands in the way, the weightiest first. The one place that decides it. */
export function obstaclesTo(approach: Approach): Obstacle[] {
  return [
    unreadable(approach),
    died(approach),
    refusedBy(approach),
    ofMinor(approach),
    noSuchWay(approach),
    noConsent(approach),
  ].flatMap((each) => each ?? [])
}

/** Why this patient may not be written to by this way at that time; null = may. */
export const whyUnreachable = (approach: Approach): Obstacle | null => obstaclesTo(approach)[0] ?? null

const unreadable = ({ patient }: Approach): Obstacle | null =>
  patient.isUnreadable ? { reason: 'person-tells', code: 'unreadable', why: ALTERED } : null

const ALTERED =
  'The record was altered and cannot be read: find the patient in your own records, and tell whoever runs the server.'

const died = ({ patient }: Approach): Obstacle | null =>
  patient.reportedDead ? { reason: 'died', code: 'died' } : null

function refusedBy({ refused }: Approach): Obstacle | null {
  if (refused === null) return null
  return { reason: refused === 'wrong-person' ? 'wrong-person' : 'opted-out', code: 'opted-out' }
}

function ofMinor({ patient, clinic, booking, at }: Approach): Obstacle | null {
  const rule = clinic.settings.minors
  const missing = missingForMinor(patient, dateIn(booking?.visitAt ?? at, booking?.zone ?? clinic.zone), rule)
  return missing && { reason: 'person-tells', code: 'minor', why: minorWords(rule!, missing) }
}

function minorWords({ below }: MinorsRule, missing: MinorsRule['then']): string {
  const who = `The patient is under ${below} at the visit`
  return missing === 'person'
    ? `${who}: by the clinic's rule nothing is sent, and a person tells.`
    : `${who}: by the clinic's rule a guardian receives the messages, and none is recorded. Record the guardian.`
}

function noSuchWay({ patient, channel }: Approach): Obstacle | null {
  if (reaches(patient, channel)) return null
  if (channel === 'email') return { reason: 'person-tells', code: 'no-such-way', why: NO_ADDRESS }
  const why = patient.reach === 'neither' ? NEITHER : channel === 'sms' ? LANDLINE : NOT_HEARD
  return { reason: 'person-tells', code: 'no-such-way', why }
}

const LANDLINE = 'The number is a landline: it takes no texts.'
const NOT_HEARD = 'The patient does not hear a call.'
const NO_ADDRESS = 'No e-mail address is known.'
const NEITHER = 'The number takes no texts, and the patient does not hear a call: find another way.'

function noConsent({ patient, clinic, booking, consents, channel, at }: Approach): Obstacle | null {
  const missing = whyNoConsent(patient, consents, channel, dateIn(at, homeZone({ patient, booking, clinic })))
  return missing && { reason: 'no-consent', code: 'no-consent', ...missing }
}
