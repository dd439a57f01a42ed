import type { CycleHistory } from '../preparation/cycle/history.ts'
import type { SendingHours } from '../preparation/sending-hours.ts'
import type { Channel, Detail } from '../messages/texts/kinds.ts'

/** A clinic and its own rules. */
export interface Clinic {
  id: string
  name: string
  /** E.164: the number a patient may call. */
  phone: string
  zone: string
  /** ISO 3166 country, for numbers written in national form. */
  country: string
  settings: ClinicSettings
}

export interface ClinicSettings {
  hours: SendingHours
  /** `at-once`: the patient's choice moves the visit. `desk-approves`: it waits for a person. */
  movePolicy: 'at-once' | 'desk-approves'
  /** After a preparation lapse: offer other times at once, or leave it to the desk. */
  lapsePolicy: 'offer' | 'desk-decides'
  /** Hours an offered opening is held. */
  holdHours: number
  /** Readings below this confidence are read by a person. */
  minConfidence: number
  /** Name of the gateway that carries this clinic's messages. */
  gateway: string
}

/** What was told to one clinic about somebody: another clinic that knows the same person has a record of its own. */
export interface Patient {
  id: string
  clinicId: string
  name: string
  /** E.164. */
  phone: string
  language: string
  channel: Channel
  detail: Detail
  cycle: CycleHistory
  /** Somebody wrote that the patient has died: nothing is sent until a person has looked. */
  reportedDead?: boolean
}

/** Consent for one channel: who wrote it down, when, and in which words it was asked. */
export interface Consent {
  channel: Channel
  recordedBy: string
  recordedAt: Date
  wording: string
}

export interface Booking {
  id: string
  patientId: string
  clinicId: string
  /** Whoever collects; distinguishes parallel lists within one clinic. Empty where a clinic has only one. */
  clinician: string
  protocol: string
  visitAt: Date
  /** The time it was first booked for, and how often the patient has moved it since. */
  firstVisitAt: Date
  moves: number
  zone: string
  state: 'booked' | 'cancelled'
  /** Counts the plans made: a message of an older plan finds nothing to do. */
  planRevision: number
  /** Digest of the protocol the plan was made by. */
  planBasis: string
  confirmedAt: Date | null
  /** Preparation cannot be complete: booked or moved too late, or told too late. */
  shortNotice: boolean
  /** What went wrong with preparation, in her words. */
  lapses: string[]
  createdAt: Date
}

/** A time at a clinic that a visit can occupy. `held` reserves it for one booking until `heldUntil`. */
export interface Slot {
  id: string
  clinicId: string
  clinician: string
  startsAt: Date
  state: 'free' | 'held' | 'taken'
  bookingId: string | null
  heldUntil: Date | null
}

/** Up to three openings put to a patient. */
export interface Offer {
  id: string
  bookingId: string
  state: OfferState
  choices: { slotId: string; at: Date }[]
  chosen: number | null
  madeAt: Date
  until: Date
}

/**
 * `open` until she answers. `accepted`: the visit moved. `waiting`: she chose, the desk must approve.
 * `lapsed`: nobody answered in time. `declined`: she or the desk said no. `overtaken`: something newer replaced it.
 */
export type OfferState = 'open' | 'waiting' | 'accepted' | 'declined' | 'lapsed' | 'overtaken'

