import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import type { CalendarDate } from '../../domain/preparation/cycle/history.ts'
import type { Refusal } from '../../domain/replies/decide-for-number.ts'
import type { Pipelined } from './pipelined.ts'

/** What may change about a patient. */
export type PatientFacts = Partial<Omit<Patient, 'id' | 'clinicId'>>

export interface PatientRecords {
  get(id: string): Promise<Patient | undefined>
  many(ids: readonly string[]): Promise<Patient[]>
  /** Whoever is reached at this number, at every clinic. */
  byPhone(phone: string): Promise<Patient[]>
  /** Ids of a clinic's patients that can be found by every one of these (see `lookedFor`), newest first. */
  search(words: readonly string[], clinicId: string, limit: number): Promise<string[]>
  /**
   * Until the transaction ends nobody else decides about this number: books it, hears it, or claims
   * messages to it. Before any patient or visit is locked.
   */
  lockNumber(phone: string): Promise<void>
  /** Locks these, in order of their ids, until the transaction ends. Before any visit is locked. */
  lock(ids: readonly string[]): Promise<void>
  /** `lockNumber`, then locks this clinic's patients there. @returns them, by id */
  lockAt(phone: string, clinicId: string): Promise<Patient[]>
  insert(patient: Patient): Pipelined
  /**
   * Changes these facts of a patient alone, under a lock: what somebody else has changed meanwhile
   * stays.
   * @returns the patient as is from now on. @throws not-found
   */
  update(id: string, facts: PatientFacts): Promise<Patient>
  consents(patientId: string): Promise<Consent[]>
  addConsent(patientId: string, consent: Consent): Pipelined
  /**
   * Patients, by id, for whom messages wait on a channel to which the newest consent of the patient, or the newest of a
   * receiver, ended before this day, lately: whose of the two counts, `consentEnd` says. Answers to what they wrote do
   * not count.
   */
  consentOver(
    day: CalendarDate,
    since: CalendarDate,
    afterId: string,
    limit: number,
  ): Promise<{ id: string; channels: Channel[] }[]>
  /** Whether anything that was agreed to has ever been withdrawn. */
  hasWithdrawn(patientId: string): Promise<boolean>
  /** @param channel null = every one. @returns how many */
  withdrawConsents(patientId: string, channel: Channel | null, at: Date): Promise<number>
}

/**
 * A number that wants no messages: somebody there said so, or that the patient is somebody else. Valid for every
 * clinic.
 */
export interface OptOut {
  at: Date
  reason: Refusal
}

export interface OptOutRecords {
  has(phone: string): Promise<boolean>
  get(phone: string): Promise<OptOut | undefined>
  count(): Promise<number>
  /** Where there is one already, it stays; only that the number is somebody else's is added to it. */
  add(phone: string, reason: OptOut['reason'], at: Date): Promise<void>
  remove(phone: string): Promise<void>
}
