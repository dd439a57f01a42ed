import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { BY } from '../access/signed-in.ts'
import { erasePatient } from '../../src/flows/patients/erase-patient.ts'
import { exportPatient } from '../../src/flows/patients/export-patient.ts'
import { retain } from '../../src/flows/patients/retention.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// What is held on a patient, wherever it was said (GDPR, articles 15 and 17), and for how long: the
// periods are the site's settings. Invented people.
const ADA = '+17825550101'
const NO_PERIODS = { status: 'no-periods' } as const

describe('a patient whose number has changed', () => {
  let world: TestWorld
  let patientId: string

  /** Rows that are found by the number which Ada had, table by table; empty tables are left out. */
  async function rowsAtOldNumber(print: string): Promise<Record<string, number>> {
    const { records } = world.composed.database
    const { rows: tables } = await records.query(`select table_name as name
      from information_schema.columns where table_schema = 'daysix' and column_name = 'phone_print'`)
    const counts: Record<string, number> = {}
    for (const { name } of tables) {
      const { rows } = await records.query(
        `select count(*)::int as n from daysix.${String(name)} where phone_print = $1`,
        [print],
      )
      if (Number(rows[0]!.n) > 0) counts[String(name)] = Number(rows[0]!.n)
    }
    return counts
  }

  const printOfReply = async () => {
    const { rows } = await world.composed.database.records.query('select phone_print from reply')
    return String(rows[0]!.phone_print)
  }

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    const ada = { name: 'Ada Fenwick', phone: ADA, cycle: NO_PERIODS }
    const { booking } = await world.book({ ...ada, visit: '2026-03-25T09:00' })
    await world.book({ ...ada, visit: '2026-04-25T09:00' })
    patientId = booking.patientId
    // About neither visit in particular: Ada is asked which is meant, and does not say.
    await world.reply(ADA, "I can't come that day, purple umbrella")
    const patient = { phone: '782 555 0166' }
    await amendBooking(world.deps, booking.id, { patient, by: 'desk' })
  })
  afterAll(() => world.close())

  it('is handed what was written from the old one too', async () => {
    const { held } = await exportPatient(world.deps, patientId, BY)
    expect(JSON.stringify(held.reply)).toContain('purple umbrella')
  })

  it('is not given what somebody writes who has the old one now', async () => {
    await world.book({ name: 'Bea Lowther', phone: ADA, visit: '2026-03-26T09:00' })
    await world.reply(ADA, 'is the green kettle yours?')
    const { held } = await exportPatient(world.deps, patientId, BY)
    expect(JSON.stringify(held)).not.toContain('green kettle')
    const [bea] = await world.deps.store.read.patients.byPhone(ADA)
    const other = await exportPatient(world.deps, bea!.id, BY)
    expect(JSON.stringify(other.held)).not.toContain('purple umbrella')
    await erasePatient(world.deps, bea!.id, BY)
  })

  it('is erased with what was written from it and asked there', async () => {
    const print = await printOfReply()
    expect(Object.keys(await rowsAtOldNumber(print))).toContain('reply')
    await erasePatient(world.deps, patientId, BY)
    expect(await rowsAtOldNumber(print)).toEqual({})
  })
})

describe('a visit booked more than a year ahead', () => {
  it('is not confirmed a second time once the words of the first confirmation are cleared', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    const { booking } = await world.book({ visit: '2027-06-22T10:00', cycle: NO_PERIODS })
    await world.passUntil('2026-03-09T13:30:00Z')
    expect(world.textsTo(ADA)).toHaveLength(1)
    await world.clock.moveTo(new Date('2027-03-20T13:00:00Z'))
    const counts = await retain(world.deps, { cycleDays: 90, textDays: 365, auditDays: 2557 })
    expect(counts.messages).toBe(1)
    await amendBooking(world.deps, booking.id, { patient: { name: 'Ada Fennwick' }, by: 'desk' })
    await world.passUntil('2027-03-20T14:00:00Z')
    expect(world.textsTo(ADA)).toHaveLength(1)
    await world.close()
  })
})
