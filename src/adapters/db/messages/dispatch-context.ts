import type { Message } from '../../../domain/messages/message.ts'
import type { CountedConsent } from '../../../domain/patients/consent.ts'
import type { Refusal } from '../../../domain/replies/decide-for-number.ts'
import type { DispatchContext } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { pendingOffers } from '../visits/offer.records.ts'
import { patientRecords } from '../patients/patient.records.ts'
import { toCounted, type CountedRow } from '../patients/consent.records.ts'
import { prepared } from '../prepared-statements.ts'
import { clinicsById } from '../region/clinic.records.ts'
import type { Db } from '../connections.ts'
import { bookingsById } from '../visits/booking.records.ts'
import { MESSAGE_KINDS } from '../../../domain/messages/texts/message-kinds.ts'

const OPTED_OUT = prepared<{ phone_print: string; reason: Refusal }>(
  'select phone_print, reason from opt_out where phone_print = any($1)',
)
const CONSENTS = prepared<CountedRow>(`select patient_id, channel, recorded_at, until, given_by from consent
  where patient_id = any($1) and withdrawn_at is null`)
const LATELY = prepared<{ id: string; phone_print: string; at: Date }>(`
  select id, phone_print, coalesce(sent_at, claimed_at) as at from message
  where phone_print = any($1) and send_at >= $2 and unsolicited
    and state in ('sending', 'sent', 'delivered', 'undelivered') and coalesce(sent_at, claimed_at) is not null`)
/** A call goes on for some minutes at most; of what came of it nobody may ever tell. */
const CALLING = prepared<{ id: string; phone_print: string }>(`select id, phone_print from message
  where phone_print = any($1) and channel = 'voice' and state in ('sending', 'sent')
    and claimed_at > $2::timestamptz - interval '10 minutes'`)

const ASKED = prepared<{ booking_id: string }>(`select distinct booking_id from message
  where booking_id = any($1) and kind = 'cycle-check' and state in ('sending', 'sent', 'delivered', 'undelivered')`)

export const byId = <T extends { id: string }>(records: readonly T[]) =>
  new Map(records.map((record) => [record.id, record]))
const distinct = (values: readonly (string | null)[]) => [...new Set(values.filter((value) => value !== null))]

/** Everything that decides whether these messages may go, asked for at once. */
export async function dispatchContext(
  db: Db,
  vault: Vault,
  messages: readonly Message[],
  since: Date,
  now: Date,
): Promise<DispatchContext> {
  const phones = new Map(messages.map(({ phone }) => [vault.fingerprint(phone), phone]))
  const prints = [...phones.keys()]
  const patientIds = distinct(messages.map(({ patientId }) => patientId))
  const offering = distinct(messages.filter(isAboutOffer).map(({ bookingId }) => bookingId))
  const asking = distinct(messages.filter(isRepeated).map(({ bookingId }) => bookingId))
  const calls = distinct(messages.filter(isCall).map(({ phone }) => vault.fingerprint(phone)))
  const [optedOut, consents, bookings, patients, clinics, offers, asked, lately, calling] = await Promise.all([
    db.rows(OPTED_OUT, [prints]),
    db.rows(CONSENTS, [patientIds]),
    bookingsById(db, vault, distinct(messages.map(({ bookingId }) => bookingId))),
    patientRecords(db, vault).many(patientIds),
    clinicsById(db, distinct(messages.map(({ clinicId }) => clinicId))),
    pendingOffers(db, offering),
    asking.length === 0 ? [] : db.rows(ASKED, [asking]),
    db.rows(LATELY, [prints, since]),
    calls.length === 0 ? [] : db.rows(CALLING, [calls, now]),
  ])
  return {
    bookings: byId(bookings),
    patients: byId(patients),
    clinics: byId(clinics),
    offers,
    asked: new Set(asked.map(({ booking_id }) => booking_id)),
    consents: countedOf(patientIds, consents),
    refusals: new Map(optedOut.map(({ phone_print, reason }) => [phones.get(phone_print)!, reason])),
    lately: lately.map(({ id, phone_print, at }) => ({ id, phone: phones.get(phone_print)!, at })),
    calling: new Map(calling.map(({ id, phone_print }) => [phones.get(phone_print)!, id])),
  }
}

const isCall = ({ channel }: Message) => channel === 'voice'
const isRepeated = ({ kind }: Message) => MESSAGE_KINDS[kind].about === 'question'
const isAboutOffer = ({ kind }: Message) => ['offer', 'move'].includes(MESSAGE_KINDS[kind].about)

function countedOf(patientIds: readonly string[], rows: readonly CountedRow[]): DispatchContext['consents'] {
  const consents = new Map(patientIds.map((id) => [id, new Array<CountedConsent>()]))
  for (const row of rows) consents.get(row.patient_id)?.push(toCounted(row))
  return consents
}
