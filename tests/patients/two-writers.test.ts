import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openStore } from '../../src/adapters/db/store.ts'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import { withdrawConsent } from '../../src/flows/patients/withdraw-consent.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { bookAndRing } from '../../src/flows/visits/book-visit.ts'
import type { BookingRequest } from '../../src/flows/visits/booking-request.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { heldBeforeTaking, heldOpen, waitsOrEnds, type StandingStill } from '../harness/held-open.ts'
import { freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'

// Two write about one patient at the same moment. What must hold: both are kept, and what is planned follows both.
// Invented people at numbers reserved for fiction. The embedded database has one session, so it takes a server.
const server = serverAddress('TEST_DATABASE_URL')

describe.skipIf(!server)('two who write about one patient at the same moment', () => {
  let database: FreshDatabase
  let world: TestWorld
  let people = 10
  let texts = 0
  beforeAll(async () => {
    database = await freshDatabase(server!)
    world = await TestWorld.create('2026-03-09T13:00:00Z', database.url)
  })
  afterAll(async () => {
    await world.close()
    await database.drop()
  })

  const somebody = () => ({ name: `Patient ${++people}`, phone: `782 555 01${people}` })
  const e164 = ({ phone }: { phone: string }) => `+1${phone.replaceAll(' ', '')}`
  const hear = (from: string, text: string, deps = world.deps) =>
    hearReply(deps, { gateway: 'pocket', key: `t${texts++}`, from, text, at: world.clock.now() })
  const patientNow = async (id: string) => (await world.deps.store.read.patients.get(id))!
  const unsent = async (bookingId: string) =>
    (await world.deps.store.read.messages.ofBooking(bookingId)).filter(
      ({ state, kind }) => kind === 'prep' && (state === 'planned' || state === 'queued'),
    )
  const callsAbout = async (bookingId: string) =>
    (await world.deps.store.read.followUps.list({ bookingId, open: true, limit: 50 })).map(({ reason }) => reason)
  const request = ({ name, phone }: { name: string; phone: string }, visit: string): BookingRequest => ({
    ...{ clinic: 'harbour', protocol: 'liquid-based-cytology', visit, by: 'desk', consent: { recordedBy: 'desk' } },
    ...{ patient: { name, phone, language: 'en', channel: 'sms', detail: 'full' }, cycle: { status: 'no-periods' } },
  })

  /** The first stands still; the second is begun, and waits for it or is done before it goes on. */
  async function meet(
    held: StandingStill,
    first: (deps: Deps) => Promise<unknown>,
    second: () => Promise<unknown>,
  ): Promise<void> {
    const one = first(held.deps)
    await held.reached
    const other = second()
    await waitsOrEnds(world, other)
    held.letGo()
    await Promise.all([one, other])
  }

  it('a booking keeps that the patient was said to have died', async () => {
    const person = somebody()
    const { booking, patient } = await world.book({ ...person, visit: '2026-03-19T10:00' })
    await meet(
      heldBeforeTaking(world.deps),
      (deps) => bookAndRing(deps, request(person, '2026-03-26T10:00')),
      () => hear(e164(person), 'She passed away in January.'),
    )
    expect((await patientNow(patient.id)).reportedDead).toBe(true)
    for (const { id } of await world.deps.store.read.bookings.list({ patientIds: [patient.id], limit: 9 })) {
      expect(await unsent(id)).toEqual([])
      expect(await callsAbout(id)).toContain('died')
    }
    expect(booking.patientId).toBe(patient.id)
  })

  it('a booking keeps a number that is corrected meanwhile, or is one of a patient of its own', async () => {
    const person = somebody()
    const { booking, patient } = await world.book({ ...person, visit: '2026-03-19T10:20' })
    await meet(
      heldBeforeTaking(world.deps),
      (deps) => bookAndRing(deps, request(person, '2026-03-26T10:20')),
      () => amendBooking(world.deps, booking.id, { patient: { phone: '782 555 0199' }, by: 'desk' }),
    )
    expect((await patientNow(patient.id)).phone).toBe('+17825550199')
    for (const { id } of await world.deps.store.read.bookings.list({ patientIds: [patient.id], limit: 9 })) {
      expect((await unsent(id)).map(({ phone }) => phone)).toEqual(['+17825550199'])
    }
  })

  it('two bookings of one who was never here before make one patient', async () => {
    const person = somebody()
    await meet(
      heldOpen(world.deps),
      (deps) => bookAndRing(deps, request(person, '2026-03-19T10:40')),
      () => bookAndRing(world.deps, request(person, '2026-03-26T10:40')),
    )
    expect(await world.deps.store.read.patients.byPhone(e164(person))).toHaveLength(1)
  })

  it.each(['She passed away in January.', 'STOP', 'I cannot come that day'])(
    '"%s" and a booking, many times at once: none fails, nothing is lost',
    async (words) => {
      // A store that begins nothing again: whoever waited in a circle would be seen to fail.
      const deps = { ...world.deps, store: await openStore(world.composed.database, world.composed.vault) }
      for (let n = 0; n < 6; n++) {
        const person = somebody()
        const minute = String(10 + (people % 50))
        const clinician = `room ${people}`
        const { patient } = await world.book({ ...person, clinician, visit: `2026-03-20T11:${minute}` })
        const at = ['2026-03-27', '2026-03-28'].map(
          (date) => `${date}T${String(8 + (Math.floor(people / 6) % 9)).padStart(2, '0')}:${minute}`,
        )
        await Promise.all([
          hear(e164(person), words, deps),
          ...at.map((visit) => bookAndRing(deps, { ...request(person, visit), clinician })),
        ])
        expect((await patientNow(patient.id)).reportedDead ?? false).toBe(words.includes('passed away'))
        const visits = await world.deps.store.read.bookings.list({ patientIds: [patient.id], limit: 9 })
        expect(visits).toHaveLength(3)
        const planned = (await Promise.all(visits.map(({ id }) => unsent(id)))).flat()
        expect(planned).toHaveLength(words.includes('cannot') ? 3 : 0)
      }
    },
  )

  it('the desk’s new number and a withdrawn consent: the plan goes to the new number', async () => {
    const { booking, patient } = await world.book({ ...somebody(), visit: '2026-03-19T11:00' })
    await meet(
      heldOpen(world.deps),
      (deps) => amendBooking(deps, booking.id, { patient: { phone: '782 555 0198' }, by: 'desk' }),
      () => withdrawConsent(world.deps, patient.id, 'voice'),
    )
    expect((await unsent(booking.id)).map(({ phone }) => phone)).toEqual(['+17825550198'])
  })

  it('one clinic’s new number and START at another clinic: the plan goes to the new number', async () => {
    await world.putClinic({}, 'ridge')
    const person = somebody()
    const { booking } = await world.book({ ...person, visit: '2026-03-19T11:20' })
    await bookAndRing(world.deps, { ...request(person, '2026-03-19T11:20'), clinic: 'ridge' })
    await hear(e164(person), 'STOP')
    await meet(
      heldOpen(world.deps),
      (deps) => amendBooking(deps, booking.id, { patient: { phone: '782 555 0197' }, by: 'desk' }),
      () => hear(e164(person), 'START'),
    )
    const all = (await world.deps.store.read.messages.ofBooking(booking.id)).filter(
      ({ state, kind }) => kind === 'prep' && (state === 'planned' || state === 'queued'),
    )
    expect(all.map(({ phone }) => phone)).toEqual(['+17825550197'])
  })
})
