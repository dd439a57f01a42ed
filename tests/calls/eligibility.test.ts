import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { closeFollowUp } from '../../src/flows/calls/close-follow-up.ts'
import { amendBooking, cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// Whether a specimen is wanted in pregnancy is not for a desk to say: Royal Marsden Manual (citing WHO), not in
// pregnancy; programmes differ. Without a cervix: common practice, no source. Invented people.
let world: TestWorld
let people = 30

beforeAll(async () => {
  world = await TestWorld.create('2026-03-09T13:00:00Z')
})
afterAll(() => world.close())

const PREGNANT: CycleHistory = { status: 'pregnant' }

async function book(cycle: CycleHistory, visit = '2026-03-24T10:00') {
  people++
  return world.book({
    visit,
    name: `Nobody ${people}`,
    phone: `782 555 01${people}`,
    clinician: `list ${people}`,
    cycle,
  })
}

const callsOf = async (bookingId: string, open = true) =>
  (await world.deps.store.read.followUps.list({ bookingId, open, limit: 50 })).filter(
    ({ reason }) => reason === 'eligibility',
  )

const become = (id: string, cycle: CycleHistory) => amendBooking(world.deps, id, { cycle, by: 'desk' })

describe('whether a specimen is wanted at all', () => {
  it.each<[CycleHistory, number]>([
    [PREGNANT, 1],
    [{ status: 'no-periods', because: 'cervix-removed' }, 1],
    [{ status: 'no-periods', because: 'uterus-removed' }, 0],
    [{ status: 'no-periods', because: 'breast-feeding' }, 0],
    [{ status: 'no-periods' }, 0],
    [{ status: 'unknown' }, 0],
  ])('is asked of a clinician when the visit is booked: %j', async (cycle, calls) => {
    const { booking, judgement, openings } = await book(cycle)
    expect(await callsOf(booking.id)).toHaveLength(calls)
    if (calls > 0) expect([judgement.keep, openings]).toEqual([true, []])
  })

  it('is asked when it becomes so, for every visit to come, and no more when it no longer is', async () => {
    const { booking } = await book({ status: 'unknown' })
    const { name, phone } = (await world.deps.store.read.patients.get(booking.patientId))!
    const second = await world.book({ visit: '2026-04-21T10:00', name, phone, cycle: { status: 'unknown' } })
    await become(booking.id, PREGNANT)
    await become(booking.id, PREGNANT)
    for (const { id } of [booking, second.booking]) expect(await callsOf(id)).toHaveLength(1)
    await become(booking.id, { status: 'cycling', lmp: '2026-03-02' })
    for (const { id } of [booking, second.booking]) expect(await callsOf(id)).toEqual([])
    await become(booking.id, PREGNANT)
    expect(await callsOf(booking.id)).toHaveLength(1)
  })

  it('is not asked again once a person has closed it, nor of a visit that was cancelled', async () => {
    const { booking } = await book(PREGNANT)
    const [call] = await callsOf(booking.id)
    await closeFollowUp(world.deps, call!.id, 'nurse', 'wanted')
    await amendBooking(world.deps, booking.id, { visit: '2026-03-25T10:00', by: 'desk' })
    expect(await callsOf(booking.id)).toEqual([])
    const other = await book({ status: 'unknown' })
    await world.deps.store.transact(async (tx) => {
      const patient = (await tx.patients.get(other.patient.id))!
      await tx.patients.update(patient.id, { ...patient, cycle: PREGNANT })
    })
    await cancelBooking(world.deps, other.booking.id, 'desk')
    expect(await callsOf(other.booking.id)).toEqual([])
  })

  it('sends a patient who is pregnant no question about a period', async () => {
    const { plan } = await book(PREGNANT)
    expect(plan.messages.map(({ kind }) => kind)).not.toContain('lmp-question')
    expect(plan.messages.map(({ kind }) => kind)).toContain('prep')
  })
})

describe('while breast-feeding', () => {
  it('the patient is told to tell of a period, and the first one times the visit', async () => {
    const { booking, patient } = await book({ status: 'no-periods', because: 'breast-feeding' })
    await world.passUntil('2026-03-23T20:00:00Z')
    expect(world.textsTo(patient.phone).join(' ')).toMatch(/BEGAN|period has started/)
    await world.reply(patient.phone, 'my period started today')
    await world.passUntil('2026-03-23T20:30:00Z')
    const { cycle } = (await world.deps.store.read.patients.get(booking.patientId))!
    expect(cycle).toMatchObject({ status: 'cycling', lmp: '2026-03-23' })
    expect(cycle.because).toBeUndefined()
  })
})
