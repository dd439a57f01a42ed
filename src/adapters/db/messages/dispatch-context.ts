import type { Message } from '../../../domain/messages/message.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type { DispatchContext } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { pendingOffers } from '../visits/offer.records.ts'
import { patientRecords } from '../patients/patient.records.ts'
import { prepared } from '../prepared-statements.ts'
import { clinicsById } from '../region/clinic.records.ts'
import type { Db } from '../tables.ts'
import { bookingsById } from '../visits/booking.records.ts'

const OPTED_OUT = prepared<{ phone_print: string }>('select phone_print from opt_out where phone_print = any($1)')
const CONSENTS = prepared<{ patient_id: string; channel: Channel }>(
  'select patient_id, channel from consent where patient_id = any($1) and withdrawn_at is null',
)
const LATELY = prepared<{ id: string; phone_print: string; at: Date }>(`
  select id, phone_print, coalesce(sent_at, claimed_at) as at from message
  where phone_print = any($1) and send_at >= $2 and unsolicited
    and state in ('sending', 'sent', 'delivered', 'undelivered') and coalesce(sent_at, claimed_at) is not null`)

export const byId = <T extends { id: string }>(records: readonly T[]) => new Map(records.map((record) => [record.id, record]))
const distinct = (values: readonly (string | null)[]) => [...new Set(values.filter((value) => value !== null))]

/** Everything that decides whether these messages may go, asked for at once. */
export async function dispatchContext(db: Db, vault: Vault, messages: readonly Message[], since: Date): Promise<DispatchContext> {
  const phones = new Map(messages.map(({ phone }) => [vault.fingerprint(phone), phone]))
  const prints = [...phones.keys()]
  const patientIds = distinct(messages.map(({ patientId }) => patientId))
  const offering = distinct(messages.filter(isAboutOffer).map(({ bookingId }) => bookingId))
  const [optedOut, consents, bookings, patients, clinics, offers, lately] = await Promise.all([
    db.rows(OPTED_OUT, [prints]),
    db.rows(CONSENTS, [patientIds]),
    bookingsById(db, vault, distinct(messages.map(({ bookingId }) => bookingId))),
    patientRecords(db, vault).many(patientIds),
    clinicsById(db, distinct(messages.map(({ clinicId }) => clinicId))),
    pendingOffers(db, offering),
    db.rows(LATELY, [prints, since]),
  ])
  return {
    bookings: byId(bookings),
    patients: byId(patients),
    clinics: byId(clinics),
    offers,
    channels: channelsOf(patientIds, consents),
    optedOut: new Set(optedOut.map(({ phone_print }) => phones.get(phone_print)!)),
    lately: lately.map(({ id, phone_print, at }) => ({ id, phone: phones.get(phone_print)!, at })),
  }
}

const isAboutOffer = ({ kind }: Message) => kind === 'offer' || kind === 'move-asked'

function channelsOf(patientIds: readonly string[], consents: readonly { patient_id: string; channel: Channel }[]): DispatchContext['channels'] {
  const channels = new Map(patientIds.map((id) => [id, new Set<Channel>()]))
  for (const { patient_id, channel } of consents) channels.get(patient_id)?.add(channel)
  return channels
}
