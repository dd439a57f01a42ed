import type { SendingHours } from '../preparation/sending-hours.ts'

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
