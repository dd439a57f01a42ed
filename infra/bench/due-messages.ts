import { USUAL_SETTINGS } from '../../src/flows/region/first-clinic.ts'
import { compose, type Composed } from '../../src/compose.ts'
import type { Config } from '../../src/config.ts'
import { DEFAULT_HOURS } from '../../src/domain/preparation/sending-hours.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import type { Patient } from '../../src/domain/patients/patient.ts'
import type { Clinic } from '../../src/domain/region/clinic.ts'
import { newMessage } from '../../src/flows/messages/new-message.ts'
import type { Deps, Tx } from '../../src/flows/ports/deps.ts'
import { newBooking } from '../../src/flows/visits/new-booking.ts'

const ALL_DAY = { from: '00:00', to: '23:59' }
const HOUR_MS = 3_600_000
/** Visits written in one transaction. */
const CHUNK = 500

/**
 * A composed service whose database holds so many messages, each to a patient of its own, all due at
 * the same moment and none enqueued yet.
 */
export async function composedWithDue(
  config: Config,
  count: number,
  inMemory: boolean,
): Promise<{ composed: Composed; messages: Message[] }> {
  const composed = await compose(config, { inMemory, notice: () => {} })
  const { deps } = composed
  const clinic = clinicOf(deps.newId('c'))
  await deps.store.transact((tx) => tx.clinics.put(clinic))
  const now = deps.clock.now()
  const messages: Message[] = []
  for (let at = 0; at < count; at += CHUNK) {
    const numbers = Array.from({ length: Math.min(CHUNK, count - at) }, (_, n) => at + n)
    await deps.store.transact(async (tx) => {
      const made = await Promise.all(numbers.map((n) => visitWithMessage(tx, deps, clinic, now, n)))
      await tx.messages.insert(made)
      messages.push(...made)
    })
  }
  return { composed, messages }
}

function clinicOf(id: string): Clinic {
  const hours = { ...DEFAULT_HOURS, weekdays: ALL_DAY, weekend: ALL_DAY }
  const settings = { ...USUAL_SETTINGS, hours, lapsePolicy: 'offer', gateway: 'loopback' } as const
  const place = { zone: 'UTC', country: 'CA' } as const
  return { id, name: 'Harbour Clinic', phone: '+16135550100', ...place, settings }
}

async function visitWithMessage(tx: Tx, deps: Deps, clinic: Clinic, now: Date, n: number): Promise<Message> {
  const patient = patientOf(deps.newId('p'), clinic.id, n)
  const protocol = deps.protocols.get('liquid-based-cytology')!
  const facts = { clinicId: clinic.id, clinician: '', protocol: protocol.id, zone: 'UTC' }
  const visitAt = new Date(now.getTime() + (200 + n) * HOUR_MS)
  const ids = { id: deps.newId('b'), patientId: patient.id }
  const draft = newBooking({ ...ids, ...facts, visitAt, minutes: protocol.visitMinutes, createdAt: now })
  const booking = { ...draft, planRevision: 1, planBasis: protocol.digest }
  await tx.patients.insert(patient)
  await tx.bookings.insert(booking)
  const consent = { channel: patient.channel, recordedBy: 'bench', recordedAt: now, wording: 'x' }
  await tx.patients.addConsent(patient.id, consent)
  const until = { sendAt: now, notAfter: new Date(now.getTime() + 24 * HOUR_MS) }
  const planned = { kind: 'confirmation', unsolicited: false, revision: 1, state: 'queued' } as const
  return newMessage(deps, { clinic, patient, booking }, { ...planned, ...until })
}

function patientOf(id: string, clinicId: string, n: number): Patient {
  const reached = { phone: phoneOf(n), language: 'en', channel: 'sms', detail: 'full' } as const
  return { id, clinicId, name: `Patient ${n}`, ...reached, cycle: { status: 'no-periods' } }
}

/** A number of its own for each, so that nobody waits for anybody; the loopback calls nobody. */
function phoneOf(n: number): string {
  return `+1${613 + (n % 100)}555${String(100 + (Math.floor(n / 100) % 100)).padStart(4, '0')}`
}

export async function sentSoFar({ database }: Composed): Promise<number> {
  const { rows } = await database.records.query(
    `select count(*)::int as n from daysix.message where state in ('sent', 'delivered')`,
  )
  return rows[0]!.n as number
}

/** Whether any message is still to be sent, or under way. */
export async function waiting({ database }: Composed): Promise<boolean> {
  const { rows } = await database.records.query(
    `select exists (select from daysix.message where state = 'queued') or exists (select from daysix.message where state = 'sending') as waiting`,
  )
  return rows[0]!.waiting as boolean
}

/** Seconds from due to sent: half of them were quicker, and all but one in a hundred. */
export async function lateness({ database }: Composed): Promise<{ p50: number; p99: number }> {
  const { rows } = await database.records.query(
    `select percentile_cont(array[0.5, 0.99]) within group (order by extract(epoch from sent_at - send_at)) as p from daysix.message where sent_at is not null`,
  )
  const [p50, p99] = rows[0]!.p as [number, number]
  return { p50: Number(p50), p99: Number(p99) }
}
