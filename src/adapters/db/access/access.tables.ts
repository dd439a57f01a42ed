import type { Generated } from 'kysely'
import type { Role } from '../../../domain/access/roles.ts'
import type { Tables } from '../tables.ts'

export interface PersonTable {
  id: string
  login_print: string
  subject_print: string | null
  role: Role
  clinic_id: string | null
  password_hash: string | null
  totp_step: string | number
  code_hash: string | null
  code_until: Date | null
  disabled_at: Date | null
  created_at: Date
  sealed: string
}

/** Failed tries under a keyed print of whose they are. */
export interface SignInTryTable {
  print: string
  failures: number
  locked_until: Date | null
  at: Date
}

export interface SessionTable {
  hash: string
  person_id: string
  created_at: Date
  seen_at: Date
}

export interface ApiKeyTable {
  id: string
  hash: string
  name: string
  may: string
  clinic_id: string | null
  created_at: Date
  expires_at: Date | null
  revoked_at: Date | null
  used_at: Date | null
}

export interface AuditTable {
  seq: string | number
  at: Date
  actor_kind: string
  actor_id: string
  what: string
  clinic_id: string | null
  facts: string
  previous: string
  hash: string
}

export interface AuditSubjectTable {
  subject: string
  seq: string | number
}

export interface AuditHeadTable {
  one: Generated<boolean>
  seq: string | number
  hash: string
}

export interface RetentionRunTable {
  id: Generated<string>
  at: Date
  counts: string
}

/** Up to and with which instant a kind of data has been cleared. */
export interface RetentionMarkTable {
  what: string
  cleared_to: Date
}

export interface ErasedCountTable {
  month: string
  clinic_id: string
  what: string
  count: number
}

export interface KeyCheckTable {
  one: Generated<boolean>
  print: string
  /** Keyed hash, once every sealed value is bound to its row. */
  bound: string | null
}

export interface SendingStopTable {
  scope: string
  at: Date
  sealed: string
}

/** The tables of access, audit and retention, together with the others. */
export interface AllTables extends Tables {
  person: PersonTable
  session: SessionTable
  sign_in_try: SignInTryTable
  api_key: ApiKeyTable
  audit: AuditTable
  audit_subject: AuditSubjectTable
  audit_head: AuditHeadTable
  retention_run: RetentionRunTable
  retention_mark: RetentionMarkTable
  erased_count: ErasedCountTable
  key_check: KeyCheckTable
  sending_stop: SendingStopTable
}
