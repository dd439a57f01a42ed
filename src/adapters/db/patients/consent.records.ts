import type { Selectable } from 'kysely'
import type { CountedConsent } from '../../../domain/patients/consent.ts'
import type { Consent } from '../../../domain/patients/patient.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import { UNSENT } from '../../../domain/messages/message.ts'
import type { PatientRecords } from '../../../flows/ports/deps.ts'
import { statesOf } from '../messages/message-states.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto, prepared } from '../prepared-statements.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { ConsentTable } from '../tables.ts'
import type { Db } from '../connections.ts'

const COLUMNS = ['patient_id', 'channel', 'recorded_at', 'sealed', 'withdrawn_at', 'until', 'given_by'] as const
const INSERT = insertInto('consent', COLUMNS)

/**
 * From the consents that have just ended, of which there are few, to what waits for their patients. As `consentEnd` has
 * it, the newest word of whoever gave it counts; who reads the messages is sealed, so that both are looked for.
 */
const OVER = prepared<{ id: string; channels: Channel[] }>(`select message.patient_id as id,
    array_agg(distinct consent.channel) as channels
  from consent join message on message.patient_id = consent.patient_id and message.channel = consent.channel
  where consent.until < $1 and consent.until >= $2 and consent.withdrawn_at is null
    and message.state in (${statesOf(UNSENT)}) and not message.prompted
    and not exists (select from consent as other where other.patient_id = consent.patient_id
      and other.channel = consent.channel and other.given_by = consent.given_by and other.withdrawn_at is null
      and (other.recorded_at > consent.recorded_at
        or other.recorded_at = consent.recorded_at and (other.until is null or other.until > consent.until)))
    and message.patient_id > $3
  group by 1 order by 1 limit $4`)

/** What decides whether a consent counts, as a row. */
export type CountedRow = Pick<ConsentTable, 'patient_id' | 'channel' | 'recorded_at' | 'until' | 'given_by'>

export const toCounted = ({ channel, recorded_at, until, given_by }: CountedRow): CountedConsent => ({
  channel,
  recordedAt: recorded_at,
  until,
  givenBy: given_by,
})

type ConsentRecords = Pick<
  PatientRecords,
  'consents' | 'hasWithdrawn' | 'addConsent' | 'consentOver' | 'withdrawConsents'
>

/** Who wrote it down, and the words agreed to. */
type Told = Pick<Consent, 'recordedBy' | 'wording'>

const unreadable = (): Told => ({ recordedBy: UNREADABLE, wording: UNREADABLE })

/** Consent of patients, or of whoever reads for them. */
export function consentRecords(db: Db, vault: Vault): ConsentRecords {
  const field = sealedField<Told>(vault, 'consent')
  const toldIn = ({
    patient_id,
    channel,
    recorded_at,
    recorded_by,
    wording,
    sealed,
  }: Selectable<ConsentTable>): Told =>
    sealed === null
      ? { recordedBy: recorded_by!, wording: wording! }
      : field.open(sealed, [patient_id, channel, recorded_at], unreadable)
  return {
    consents: async (patientId) => {
      const query = db.selectFrom('consent').selectAll().where('patient_id', '=', patientId)
      const rows = await query.where('withdrawn_at', 'is', null).orderBy('id').execute()
      return rows.map((row) => ({ ...toCounted(row), ...toldIn(row) }))
    },
    addConsent: (patientId, { channel, recordedBy, recordedAt, wording, until = null, givenBy = 'patient' }) => {
      const sealed = field.seal({ recordedBy, wording }, patientId, channel, recordedAt)
      const told = { channel, recorded_at: recordedAt, sealed, until, given_by: givenBy }
      return db.insert(INSERT, [{ patient_id: patientId, ...told, withdrawn_at: null }])
    },
    consentOver: (day, since, afterId, limit) => db.rows(OVER, [day, since, afterId, limit]),
    hasWithdrawn: async (patientId) => {
      const query = db.selectFrom('consent').select('id').where('patient_id', '=', patientId)
      return (await query.where('withdrawn_at', 'is not', null).limit(1).executeTakeFirst()) !== undefined
    },
    withdrawConsents: async (patientId, channel, at) => {
      const query = db
        .updateTable('consent')
        .set({ withdrawn_at: at })
        .where('patient_id', '=', patientId)
        .where('withdrawn_at', 'is', null)
      const those = channel ? query.where('channel', '=', channel) : query
      return (await those.returning('id').execute()).length
    },
  }
}
