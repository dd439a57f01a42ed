import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { samePerson } from '../../src/domain/patients/same-person.ts'
import { findPatients } from '../../src/flows/patients/find-patients.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'

// Two identifiers tell patients apart: common practice in specimen handling (CLSI GP33 as cited by laboratory
// directories; value from memory). Invented people.
describe('people of one name at one number', () => {
  let world: TestWorld
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  const book = (visit: string, second: { birthDate?: string; ownNumber?: string }, name = 'Ada Fenwick') =>
    world.book({
      visit,
      patient: { name, phone: '782 555 0101', language: 'en', channel: 'sms', detail: 'full', ...second },
    } as never)

  it('are two where birth dates differ, and one where they do not or are not known', async () => {
    const mother = await book('2026-03-25T09:00', { birthDate: '1961-04-02' })
    const daughter = await book('2026-03-25T10:00', { birthDate: '1990-08-17' })
    const again = await book('2026-04-25T10:00', { birthDate: '1990-08-17' })
    expect(daughter.patient.id).not.toBe(mother.patient.id)
    expect(again.patient.id).toBe(daughter.patient.id)
  })

  it('are found by birth date and by own number, however that is written', async () => {
    const { patient } = await book('2026-03-26T09:00', { ownNumber: 'MR-48213' }, 'Cleo Marsh')
    const found = async (typed: string) =>
      (await findPatients(world.deps, CLINIC, typed, 20)).map((each) => each.patientId)
    for (const typed of ['MR-48213', 'mr48213', '48213', 'cleo 48213'])
      expect(await found(typed), typed).toContain(patient.id)
    expect(await found('1961-04-02')).toHaveLength(1)
    expect(await found('1961-04-03')).toEqual([])
  })

  it('are found at their clinic however many of the same name came later to another', async () => {
    await world.putClinic({}, 'ridge')
    const { patient } = await world.book({ visit: '2026-03-28T09:00', name: 'Quarry Flint', phone: '782 555 0104' })
    for (const n of [5, 6, 7]) {
      const other = { name: `Quarry Other${n}`, phone: `782 555 010${n}`, clinic: 'ridge' }
      await world.book({ visit: `2026-03-28T1${n}:00`, ...other })
    }
    const found = await findPatients(world.deps, CLINIC, 'Quarry', 2)
    expect(found.map(({ patientId }) => patientId)).toEqual([patient.id])
  })

  it('keep what was told when they are booked or amended without it', async () => {
    const before = await book('2026-03-27T09:00', { birthDate: '1975-01-01', ownNumber: '77123' }, 'Dee Marsh')
    const { booking, patient } = await book('2026-04-27T09:00', {}, 'Dee Marsh')
    expect(patient).toMatchObject({ id: before.patient.id, birthDate: '1975-01-01', ownNumber: '77123' })
    const amended = await amendBooking(world.deps, booking.id, { patient: { birthDate: '1975-01-10' }, by: 'desk' })
    expect(amended.patient.birthDate).toBe('1975-01-10')
  })

  it('the own number decides over a misspelt name', () => {
    const known = { name: 'Eve Tarn', ownNumber: '9001', birthDate: '1980-02-02' }
    const patients = [{ id: 'p_1', ...known }] as never
    expect(samePerson(patients, { name: 'Eve Tarne', ownNumber: '9001' })).toMatchObject({ id: 'p_1' })
    expect(samePerson(patients, { name: 'Eve Tarn', ownNumber: '9002' })).toBeUndefined()
    expect(samePerson(patients, { name: 'Eve Tarn', birthDate: '1981-02-02' })).toBeUndefined()
    expect(samePerson(patients, { name: 'eve  tarn' })).toMatchObject({ id: 'p_1' })
  })
})
