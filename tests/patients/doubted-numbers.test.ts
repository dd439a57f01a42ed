import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { exportPatient } from '../../src/flows/patients/export-patient.ts'
import { BY } from '../access/signed-in.ts'
import { erasePatient } from '../../src/flows/patients/erase-patient.ts'
import { retain } from '../../src/flows/patients/retention.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { amendBooking, type Amendment } from '../../src/flows/visits/amend-booking.ts'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'
import type { TestWorld } from '../harness/world.ts'

// Whose a number is, and what was agreed to last, through the service on both databases. Own rules, no source; invented
// people.
const LONG_AGO = { recordedBy: 'desk', recordedAt: '2025-01-10T10:00' }
const DAYS = { cycleDays: 90, textDays: 30, auditDays: 2557 }

describe.each(STORES)('on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let people = 20
  let number: string
  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())
  beforeEach(() => {
    number = `+178255501${++people}`
  })

  const book = (more: object = {}) =>
    world.book({
      ...{ name: `Patient ${people}`, phone: number, clinician: number, visit: '2026-06-12T10:00' },
      ...{ cycle: { status: 'no-periods' }, ...more },
    } as never)
  const amend = ({ booking }: Booked, changes: Omit<Amendment, 'by'>) =>
    amendBooking(world.deps, booking.id, { ...changes, by: 'desk' })
  const doubt = async (booked: Booked) => (await amend(booked, { purpose: 'routine' })).patient.handsDoubt?.why
  const waiting = async ({ booking }: Booked) =>
    (await world.deps.store.read.messages.ofBooking(booking.id)).filter(
      ({ state }) => state === 'planned' || state === 'queued',
    )
  const consents = ({ patient }: Booked) => world.deps.store.read.patients.consents(patient.id)
  const calls = async ({ patient }: Booked) =>
    (await world.deps.store.read.followUps.list({ open: true, limit: 200 }))
      .filter(({ patientId }) => patientId === patient.id)
      .map(({ reason }) => reason)
  /** As a gateway without receipts leaves it: nothing is ever heard of what is sent. */
  const nothingArrives = () =>
    world.deps.store.transact((tx) => tx.messages.withdrawUnsent({ phone: number }, 'gone', world.clock.now()))
  const agree = ({ patient }: Booked, recordedAt: string, more: object = {}) =>
    world.deps.store.transact(async (tx) => {
      const told = { recordedBy: 'desk', recordedAt: new Date(recordedAt), wording: 'May we?' }
      await tx.patients.addConsent(patient.id, { channel: 'sms', ...told, ...more })
    })

  it('a number that has just been told is not silent, though consent is old', async () => {
    const booked = await book({ consent: LONG_AGO })
    await world.reply(number, 'thanks')
    expect(await doubt(booked)).toBeUndefined()
    const moved = await amend(booked, { patient: { phone: number.replace('+17825550', '+17825551') } })
    expect(moved.patient).toMatchObject({ handsDoubt: null, numberSince: world.clock.now().toISOString() })
    expect((await waiting(booked)).length).toBeGreaterThan(0)
    const { held } = await exportPatient(world.deps, booked.patient.id, BY)
    expect(held.patient).toMatchObject([{ numberSince: world.clock.now().toISOString() }])
  })

  it('START from a number that was silent for a year is nobody’s consent, and a person asks', async () => {
    const booked = await book({ consent: LONG_AGO })
    await nothingArrives()
    await world.reply(number, 'START')
    expect(await consents(booked)).toHaveLength(1)
    expect(await waiting(booked)).toEqual([])
    expect(await calls(booked)).toContain('no-consent')
  })

  it('START after consent was recorded anew is consent again', async () => {
    const booked = await book()
    await world.reply(number, 'wrong number')
    const [reply] = await world.deps.store.read.replies.fromPhone(number, new Date(0))
    await correctReading(world.deps, reply!.id, { meaning: 'thanks', by: 'desk' })
    await world.reply(number, 'START')
    expect(await consents(booked)).toHaveLength(1)
    await amend(booked, { consent: { recordedBy: 'desk' } })
    await world.reply(number, 'STOP')
    await world.reply(number, 'START')
    expect((await consents(booked)).map(({ recordedBy }) => recordedBy)).toEqual(['desk', 'desk', 'patient'])
  })

  it('"wrong person" that is taken back says nothing of the number that a patient has by now', async () => {
    const booked = await book()
    await world.reply(number, 'wrong number')
    const [reply] = await world.deps.store.read.replies.fromPhone(number, new Date(0))
    expect(reply!.bookingId).toBe(booked.booking.id)
    await amend(booked, { patient: { phone: number.replace('+17825550', '+17825551') } })
    await correctReading(world.deps, reply!.id, { meaning: 'thanks', by: 'desk' })
    expect(await doubt(booked)).toBeUndefined()
    expect((await waiting(booked)).length).toBeGreaterThan(0)
  })

  it('what is agreed to last says until when: an end takes back what had none', async () => {
    const booked = await book({ visit: '2026-04-10T10:00' })
    await world.passUntil('2026-03-09T14:00:00Z', 60)
    await amend(booked, { consent: { recordedBy: 'desk', until: '2026-03-12' } })
    expect((await waiting(booked)).filter(({ sendAt }) => sendAt > new Date('2026-03-14T00:00:00Z'))).toEqual([])
    expect(await calls(booked)).toContain('no-consent')
  })

  it('patients whose newest consent has just ended are found, of the patient and of a receiver', async () => {
    const found = async () =>
      (await world.deps.store.read.patients.consentOver('2026-03-09', '2026-02-09', '', 50)).map(({ id }) => id)
    const ended = { until: '2026-03-01' }
    const [taken, given, together, receivers, other] = [
      await book({ name: 'Taken Back', clinician: 'a' }),
      await book({ name: 'Given Anew', clinician: 'b' }),
      await book({ name: 'Told Together', clinician: 'c' }),
      await book({ name: 'By Receiver', clinician: 'd' }),
      await book({ name: 'By Voice', clinician: 'e' }),
    ]
    await agree(taken, '2026-03-10T10:00:00Z', ended)
    await agree(given, '2026-02-01T10:00:00Z', ended)
    await agree(together, '2026-03-10T10:00:00Z', ended)
    await agree(together, '2026-03-10T10:00:00Z', { until: '2026-12-01' })
    await agree(receivers, '2026-02-01T10:00:00Z', { ...ended, givenBy: 'receiver' })
    await agree(other, '2026-03-10T10:00:00Z', { ...ended, channel: 'voice' })
    expect(await found()).toEqual([taken, receivers].map(({ patient }) => patient.id).sort())
    const [first] = await world.deps.store.read.patients.consentOver('2026-03-09', '2026-02-09', '', 1)
    expect(first!.channels).toEqual(['sms'])
    expect(await world.deps.store.read.patients.consentOver('2026-03-09', '2026-02-09', first!.id, 1)).toHaveLength(1)
    const plans = async (each: Booked) => (await world.deps.store.read.bookings.get(each.booking.id))!.planRevision
    const before = await plans(receivers)
    await world.passUntil('2026-03-09T15:00:00Z', 30)
    expect(await waiting(taken)).toEqual([])
    // A receiver of before is not whoever reads now: nothing changes, and no plan is made anew.
    expect(await plans(receivers)).toBe(before)
  })

  it('a number from which somebody wrote is not silent when the reply is no longer kept', async () => {
    const booked = await book({ consent: LONG_AGO })
    await nothingArrives()
    await world.reply(number, 'thanks')
    expect(await doubt(booked)).toBeUndefined()
    await nothingArrives()
    const heard = (await world.deps.store.read.messages.signsOf(number, 'harbour', null)).alive
    await world.clock.moveTo(new Date('2026-04-20T13:00:00Z'))
    expect((await retain(world.deps, DAYS)).replies).toBeGreaterThan(0)
    expect(await world.deps.store.read.replies.fromPhone(number, new Date(0))).toEqual([])
    expect((await world.deps.store.read.messages.signsOf(number, 'harbour', null)).alive).toEqual(heard)
    expect((await world.deps.store.read.messages.signsOf(number, 'harbour', heard)).alive).toBeNull()
    expect(await doubt(booked)).toBeUndefined()
    await world.reply(number, 'thanks')
    await world.clock.moveTo(new Date('2026-05-25T13:00:00Z'))
    await retain(world.deps, DAYS)
    const { held } = await exportPatient(world.deps, booked.patient.id, BY)
    expect(held.sign_of_life).toEqual([{ clinic_id: 'harbour', seen_at: new Date('2026-04-20T13:00:00Z') }])
    await erasePatient(world.deps, booked.patient.id, BY)
    expect((await world.deps.store.read.messages.signsOf(number, 'harbour', null)).alive).toBeNull()
  })

  it('a sign of life goes once no clinic could ask for it any more', async () => {
    await book({ consent: null, visit: '2026-12-01T10:00' })
    await world.reply(number, 'thanks')
    await world.clock.moveTo(new Date('2026-08-01T13:00:00Z'))
    await retain(world.deps, DAYS)
    await world.clock.moveTo(new Date('2036-08-01T13:00:00Z'))
    expect((await retain(world.deps, DAYS)).signsOfLife).toBeGreaterThan(0)
    expect((await world.deps.store.read.messages.signsOf(number, 'harbour', null)).alive).toBeNull()
  })
})
