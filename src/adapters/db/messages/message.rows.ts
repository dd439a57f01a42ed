import type { Message, MessageState } from '../../../domain/messages/message.ts'
import type { Vault } from '../../vault/vault.ts'
import { sealedField } from '../sealed-field.ts'
import type { MessageTable } from '../tables.ts'

/** Encrypted part: where it goes and what it says. */
interface Sealed {
  phone: string
  choices: string[]
  answer: string | null
  text: string | null
}

export const MESSAGE_COLUMNS = [
  'id',
  'booking_id',
  'patient_id',
  'clinic_id',
  'phone_print',
  'kind',
  'channel',
  'detail',
  'language',
  'revision',
  'unsolicited',
  'send_at',
  'not_after',
  'state',
  'attempt',
  'visit_at',
  'gateway',
  'gateway_ref',
  'sealed',
  'claimed_at',
  'claimed_by',
  'sent_at',
  'ended_at',
  'code',
  'fallback_of',
  'prompted',
  'by_hand',
  'confirms',
] as const satisfies (keyof MessageTable)[]

export const fieldOf = (vault: Vault) => sealedField<Sealed>(vault, 'message')
/** To no number, so that it goes nowhere: the plan is made anew for the patient's own. */
const unreadable = (): Sealed => ({ phone: '', choices: [], answer: null, text: null })

/** The sealed part of a message, with these words. */
export function sealedWith({ id, phone, choices, answer }: Message, text: string | null, vault: Vault): string {
  const sealed: Sealed = { phone, choices: choices.map((at) => at.toISOString()), answer, text }
  return fieldOf(vault).seal(sealed, id)
}

export function toRow(message: Message, vault: Vault): MessageTable {
  return {
    id: message.id,
    booking_id: message.bookingId,
    patient_id: message.patientId,
    clinic_id: message.clinicId,
    phone_print: vault.fingerprint(message.phone),
    kind: message.kind,
    channel: message.channel,
    detail: message.detail,
    language: message.language,
    revision: message.revision,
    unsolicited: message.unsolicited,
    send_at: message.sendAt,
    not_after: message.notAfter,
    state: message.state,
    attempt: message.attempt,
    visit_at: message.visitAt,
    gateway: message.gateway,
    gateway_ref: message.gatewayRef,
    sealed: sealedWith(message, message.text, vault),
    claimed_at: message.claimedAt,
    claimed_by: null,
    sent_at: message.sentAt,
    ended_at: message.endedAt,
    code: message.code,
    fallback_of: message.fallbackOf,
    prompted: message.prompted,
    by_hand: message.byHand,
    confirms: message.confirms,
  }
}

export function toMessage(row: MessageTable, vault: Vault): Message {
  const sealed = fieldOf(vault).open(row.sealed, [row.id], unreadable)
  return {
    ...sealed,
    choices: sealed.choices.map((at) => new Date(at)),
    id: row.id,
    bookingId: row.booking_id,
    patientId: row.patient_id,
    clinicId: row.clinic_id,
    kind: row.kind as Message['kind'],
    channel: row.channel as Message['channel'],
    detail: row.detail as Message['detail'],
    language: row.language,
    revision: row.revision,
    unsolicited: row.unsolicited,
    sendAt: row.send_at,
    notAfter: row.not_after,
    state: row.state as MessageState,
    attempt: row.attempt,
    visitAt: row.visit_at,
    gateway: row.gateway,
    gatewayRef: row.gateway_ref,
    claimedAt: row.claimed_at,
    sentAt: row.sent_at,
    endedAt: row.ended_at,
    code: row.code,
    fallbackOf: row.fallback_of,
    prompted: row.prompted,
    byHand: row.by_hand,
    confirms: row.confirms,
  }
}
