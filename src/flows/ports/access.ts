import type { Permission, Role } from '../../domain/access/roles.ts'

/** Somebody who works with Daysix. Not a patient. */
export interface Person {
  id: string
  /** What they sign in with, in small letters. */
  login: string
  name: string
  role: Role
  clinicId: string | null
  clinician: string | null
  /** argon2id; null until they have chosen one. */
  passwordHash: string | null
  /** Base32 secret of the code generator; null without one. */
  totp: string | null
  /** The newest 30-second step that was used: none is taken twice. */
  totpStep: number
  /** What the identity provider calls them; null without one. */
  subject: string | null
  /** Hash of the one-time code that lets them choose a password, and until when it does. */
  codeHash: string | null
  codeUntil: Date | null
  disabledAt: Date | null
  createdAt: Date
}

export interface PersonRecords {
  get(id: string): Promise<Person | undefined>
  lock(id: string): Promise<Person | undefined>
  byLogin(login: string): Promise<Person | undefined>
  bySubject(subject: string): Promise<Person | undefined>
  byCode(codeHash: string): Promise<Person | undefined>
  list(): Promise<Person[]>
  insert(person: Person): Promise<void>
  update(person: Person): Promise<void>
}

/** Failures in a row of whoever a keyed print stands for. */
export interface SignInTry {
  failures: number
  lockedUntil: Date | null
  /** Of the last failure. */
  at: Date
}

export interface SignInTryRecords {
  /** What is kept instead of a name that somebody typed. */
  printOf(what: string): string
  /**
   * Makes sure that they are counted, and locks them until the transaction ends.
   * @returns them in the order asked for
   */
  lock(prints: readonly string[], now: Date): Promise<SignInTry[]>
  put(print: string, tried: SignInTry): Promise<void>
  remove(prints: readonly string[]): Promise<void>
  /** Notes what may happen once. False when it is noted already. */
  spend(print: string, now: Date): Promise<boolean>
  /** @returns how many were removed */
  removeStale(before: Date): Promise<number>
}

export interface Session {
  /** SHA-256 of the token in the cookie; the token itself is kept nowhere. */
  hash: string
  personId: string
  createdAt: Date
  seenAt: Date
}

export interface SessionRecords {
  get(hash: string): Promise<Session | undefined>
  insert(session: Session): Promise<void>
  seen(hash: string, at: Date): Promise<void>
  remove(hash: string): Promise<void>
  removeOf(personId: string): Promise<void>
  /** @returns how many were removed */
  removeStale(seenBefore: Date, createdBefore: Date): Promise<number>
}

/** What a program signs in with. */
export interface ApiKey {
  id: string
  /** SHA-256 of the secret half: 256 random bits need no slow hash. */
  hash: string
  name: string
  may: Permission[]
  clinicId: string | null
  createdAt: Date
  expiresAt: Date | null
  revokedAt: Date | null
  usedAt: Date | null
}

export interface ApiKeyRecords {
  get(id: string): Promise<ApiKey | undefined>
  list(): Promise<ApiKey[]>
  insert(key: ApiKey): Promise<void>
  used(id: string, at: Date): Promise<void>
  /** False when there is none, or it was revoked already. */
  revoke(id: string, at: Date): Promise<boolean>
}

/** Who does something, as the record names them: a person, a key, this machine, an operator or the service itself. */
export interface Doer {
  kind: string
  id: string
}

/** Whoever may run commands on the machine. */
export const OPERATOR: Doer = { kind: 'operator', id: 'command' }

/** One line of the record of who saw and changed what. Ids only. */
export interface AuditEntry {
  at: Date
  actorKind: string
  actorId: string
  /** Method and address pattern, or the name of what was done, e.g. `GET /api/v1/bookings/{id}`. */
  what: string
  /** Ids it concerned: bookings, patients, follow-ups. */
  subjects: string[]
  clinicId: string | null
  facts: Record<string, unknown>
}

export interface ChainedEntry extends AuditEntry {
  seq: number
  previous: string
  hash: string
}

export interface AuditQuery {
  actorId?: string
  subject?: string
  from?: Date
  to?: Date
  /** Entries before this number, newest first. */
  before?: number
  limit: number
}

export interface AuditRecords {
  /** Appends in order; only inside a transaction. */
  append(entries: readonly AuditEntry[]): Promise<ChainedEntry[]>
  list(query: AuditQuery): Promise<ChainedEntry[]>
  /** Oldest first, from a number on. */
  page(from: number, limit: number): Promise<ChainedEntry[]>
  /** What the table that searches go by says each of these entries is about. */
  indexed(from: number, to: number): Promise<{ seq: number; subject: string }[]>
  head(): Promise<{ seq: number; hash: string }>
  /** Removes what is older, leaving an entry that says up to where. @returns how many were removed */
  prune(before: Date, now: Date): Promise<number>
  /** The keyed hash an entry must have. */
  hashOf(entry: AuditEntry & { seq: number; previous: string }): string
}

/** Which clinic something belongs to: null = to none in particular, undefined = there is no such thing. */
export interface WhereaboutRecords {
  /** @param id any id of ours; its first letters say what it is. */
  clinicsOf(id: string): Promise<(string | null)[]>
  /** Whose they are: patients, visits, follow-ups, messages and replies; what is none of ours is left out. */
  patientsOf(ids: readonly string[]): Promise<{ id: string; patientId: string | null }[]>
}

/** All sending stands still, of one clinic (its id) or of everybody (`region`). */
export interface SendingStop {
  scope: string
  at: Date
  by: string
  why: string
}

export interface SendingStopRecords {
  list(): Promise<SendingStop[]>
  /** False when it is stopped already. */
  put(stop: SendingStop): Promise<boolean>
  remove(scope: string): Promise<boolean>
}

export interface AccessRecords {
  sendingStops: SendingStopRecords
  persons: PersonRecords
  sessions: SessionRecords
  tries: SignInTryRecords
  apiKeys: ApiKeyRecords
  audit: AuditRecords
  whereabouts: WhereaboutRecords
  rights: RightsRecords
  retention: RetentionRecords
}

export interface AccessStore {
  transact<T>(work: (tx: AccessRecords) => Promise<T>): Promise<T>
  readonly read: AccessRecords
}

/** Everything held on somebody, by kind of record, as a person may read it. */
export type Held = Record<string, Record<string, unknown>[]>

export interface RightsRecords {
  /** Only inside a transaction: the patient is locked meanwhile. */
  held(patientId: string): Promise<Held | undefined>
  /** Removes it all but counts, and frees times to come. @returns how many records of each kind were removed */
  erase(patientId: string, now: Date): Promise<Record<string, number> | undefined>
}

/** One part of a large change: how many it changed, and where the next part begins; null when there is none. */
export interface Part {
  count: number
  next: string | null
}

/** Clears what is no longer needed. The intervals are half-open: later than `from`, up to and with `to`. */
export interface RetentionRecords {
  runs(limit: number): Promise<{ at: Date; counts: Record<string, number> }[]>
  /** Up to and with which instant each kind of data has been cleared; what is not in it, never was. */
  clearedTo(): Promise<ReadonlyMap<string, Date>>
  /** Notes a run with what it cleared, and up to where. A mark that is further on already stays. */
  noteRun(at: Date, counts: Record<string, number>, clearedTo: ReadonlyMap<string, Date>): Promise<void>
  /** Cycle data of patients whose last visit lies in the interval, and what they said about preparation. */
  clearCycles(from: Date, to: Date, afterId: string): Promise<Part>
  clearReadings(from: Date, to: Date, afterId: string): Promise<Part>
  clearFollowUps(from: Date, to: Date, afterId: string): Promise<Part>
  clearMessages(from: Date, to: Date, afterId: string): Promise<Part>
  /** Keeps when each clinic last heard each number. Removes what is left of long texts too. */
  removeReplies(before: Date): Promise<number>
  removeSignsOfLife(before: Date): Promise<number>
  removeEarlyReceipts(before: Date): Promise<number>
  removeSentParts(before: Date): Promise<number>
  /** What is known of appointments of schedules that lie before, and of whoever has no other. */
  removeFeedVisits(before: Date): Promise<number>
  /** Messages of schedules by which a repeated one is known, and faults. */
  removeFeedNotes(before: Date): Promise<number>
}
