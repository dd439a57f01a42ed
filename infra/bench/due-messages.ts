import { compose, type Composed } from '../../src/compose.ts'
import type { Config } from '../../src/config.ts'
import { DEFAULT_HOURS } from '../../src/domain/preparation/sending-hours.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import type { Booking } from '../../src/domain/visits/booking.ts'
import type { Patient } from '../../src/domain/patients/patient.ts'

const VISITS = 100
const ALL_DAY = { from: '00:00', to: '23:59' }

/** A composed service whose database holds so many messages, all due at the same moment and none rung for yet. */
export async function composedWithDue(config: Config, count: number, inMemory: boolean): Promise<{ composed: Composed; messages: Message[] }> {
  const composed = await compose(config, { inMemory, notice: () => {} })
  const { store, newId, clock } = composed.deps
  const due = clock.now()
  const settings = { hours: { ...DEFAULT_HOURS, weekdays: ALL_DAY, weekend: ALL_DAY }, movePolicy: 'at-once', lapsePolicy: 'offer', holdHours: 24, minConfidence: 0.5, gateway: 'loopback' } as const
  const clinicId = newId('c')
  const bookings: Booking[] = []
  await store.transact(async (tx) => {
    await tx.clinics.put({ id: clinicId, name: 'Harbour Clinic', phone: '+16135550100', zone: 'UTC', country: 'CA', settings })
    for (let n = 0; n < VISITS; n++) {
      const patient: Patient = { id: newId('p'), clinicId, name: `Patient ${n}`, phone: phoneOf(n), language: 'en', channel: 'sms', detail: 'full', cycle: { status: 'no-periods' } }
      const visitAt = new Date(due.getTime() + (200 + n) * 3_600_000)
      const booking: Booking = { id: newId('b'), patientId: patient.id, clinicId, clinician: '', protocol: 'liquid-based-cytology', visitAt, firstVisitAt: visitAt, moves: 0, zone: 'UTC', state: 'booked', planRevision: 1, confirmedAt: null, shortNotice: false, lapses: [], createdAt: due, planBasis: composed.deps.protocols.get('liquid-based-cytology')!.digest }
      await tx.patients.insert(patient)
      await tx.patients.addConsent(patient.id, { channel: 'sms', recordedBy: 'bench', recordedAt: due, wording: 'x' })
      await tx.bookings.insert(booking)
      bookings.push(booking)
    }
  }) // prettier-ignore
  const messages = Array.from({ length: count }, (_, n): Message => {
    const booking = bookings[n % VISITS]!
    return {
      id: newId('m'), bookingId: booking.id, patientId: booking.patientId, clinicId, phone: phoneOf(n), kind: 'confirmation', channel: 'sms', detail: 'full', language: 'en', revision: 1,
      unsolicited: false, sendAt: due, notAfter: new Date(due.getTime() + 86_400_000), state: 'queued', attempt: 0, visitAt: booking.visitAt, choices: [], answer: null, gateway: 'loopback',
      gatewayRef: null, text: null, claimedAt: null, sentAt: null, endedAt: null, code: null, fallbackOf: null, prompted: false, byHand: false,
    } // prettier-ignore
  })
  for (let at = 0; at < count; at += 500) await store.transact((tx) => tx.messages.insert(messages.slice(at, at + 500)))
  return { composed, messages }
}

/** A number of its own for each, so that nobody waits for anybody; the loopback calls nobody. */
function phoneOf(n: number): string {
  return `+1${613 + (n % 100)}555${String(100 + (Math.floor(n / 100) % 100)).padStart(4, '0')}`
}

export async function sentSoFar({ database }: Composed): Promise<number> {
  const { rows } = await database.records.query(`select count(*)::int as n from daysix.message where state in ('sent', 'delivered')`)
  return rows[0]!.n as number
}

/** Seconds from due to sent: half of them were quicker, and all but one in a hundred. */
export async function lateness({ database }: Composed): Promise<{ p50: number; p99: number }> {
  const { rows } = await database.records.query(
    `select percentile_cont(array[0.5, 0.99]) within group (order by extract(epoch from sent_at - send_at)) as p from daysix.message where sent_at is not null`,
  )
  const [p50, p99] = rows[0]!.p as [number, number]
  return { p50: Number(p50), p99: Number(p99) }
}
