import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { brokenSeals, noteAllBound, resealAll } from '../../src/adapters/db/reseal.ts'
import { SEALED_FIELDS } from '../../src/adapters/db/sealed-field.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { migrate } from '../../src/adapters/db/migrate.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { closeFollowUp } from '../../src/flows/calls/close-follow-up.ts'
import { BrokenSeal } from '../../src/adapters/vault/vault.ts'
import { serveApi } from '../harness/api.ts'
import { sealedUnbound, testVault } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'
import { cookieOf, hire, serveClosed } from './signed-in.ts'

// Associated data of AES-GCM (NIST SP 800-38D): a value authenticates only with the data it was sealed with.
// Invented people.

describe('a sealed value', () => {
  const vault = testVault()

  it('opens in its own place only', () => {
    const sealed = vault.seal('Marit Quillon', 'patient p_1')
    expect(vault.open(sealed, 'patient p_1')).toBe('Marit Quillon')
    for (const elsewhere of ['patient p_2', 'reply p_1', ''])
      expect(() => vault.open(sealed, elsewhere)).toThrow(BrokenSeal)
  })

  it('that an older version sealed opens anywhere, until all are bound', () => {
    const older = testVault()
    expect(older.open(sealedUnbound('x'), 'patient p_1')).toBe('"x"')
    older.refuseUnbound()
    expect(() => older.open(sealedUnbound('x'), 'patient p_1')).toThrow(BrokenSeal)
  })
})

describe('every sealed column', () => {
  it('is listed, with the key of its table', async () => {
    const database = await openEmbedded(undefined, null)
    await migrate(database)
    const { rows } = await database.records.query(
      `select c.table_name as "table", c.column_name as "column", k.column_name as "key"
       from information_schema.columns c
       join information_schema.table_constraints t
         on t.table_schema = c.table_schema and t.table_name = c.table_name and t.constraint_type = 'PRIMARY KEY'
       join information_schema.key_column_usage k on k.constraint_schema = t.table_schema
         and k.constraint_name = t.constraint_name
       where c.table_schema = 'daysix' and c.column_name like 'sealed%'`,
    )
    await database.close()
    const listed = Object.values(SEALED_FIELDS).map(({ table, column, key }) => `${table}.${column} by ${key}`)
    expect(rows.map((row) => `${row.table}.${row.column} by ${row.key}`).sort()).toEqual(listed.sort())
  })
})

describe('values exchanged between two patients', () => {
  let world: TestWorld
  let served: Awaited<ReturnType<typeof serveApi>>
  let ids: { booking: string; patient: string }[]
  const query = (text: string, values: unknown[] = []) => world.composed.database.records.query(text, values)

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveApi(world)
    ids = []
    for (const [name, phone] of [
      ['Marit Quillon', '782 555 0101'],
      ['Orla Venn', '782 555 0102'],
      ['Ines Tarrow', '782 555 0103'],
    ] as const) {
      const { booking, patient } = await world.book({ name, phone, visit: `2026-03-17T1${ids.length}:00` })
      ids.push({ booking: booking.id, patient: patient.id })
    }
    await world.passUntil('2026-03-09T14:00:00Z')
    const [one, two] = ids
    await query(
      `update patient set sealed = other.sealed from patient as other
       where patient.id <> other.id and patient.id = any($1) and other.id = any($1)`,
      [[one!.patient, two!.patient]],
    )
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('are shown as what they are, and the rest of the list stands', async () => {
    const { status, body } = await served.get('/api/v1/bookings?clinic=harbour')
    expect(status).toBe(200)
    const names = body.bookings.map((each: { patient: { name: string } }) => each.patient.name)
    expect(names).toEqual(['(cannot be read)', '(cannot be read)', 'Ines Tarrow'])
    expect(JSON.stringify(body)).not.toMatch(/Quillon|Venn/)
  })

  it.each(['/bookings?from=2026-03-17', '/calls', '/day-sheet?day=2026-03-17'])(
    'close no page of the desk: %s',
    async (page) => {
      const response = await fetch(`${served.base}/desk/harbour${page}`)
      expect(response.status).toBe(200)
    },
  )

  it('are found by the check, with field and row', async () => {
    const { database, vault } = world.composed
    const found = await brokenSeals(database, vault)
    const exchanged = ids.slice(0, 2).map(({ patient }) => `patient ${patient}`)
    expect(found.map(({ field, row }) => `${field} ${row}`).sort()).toEqual(exchanged.sort())
    // Sealing anew mends nothing and spoils nothing.
    expect(await resealAll(database, vault)).toBe(0)
    expect(await brokenSeals(database, vault)).toEqual(found)
  })

  it('send nothing to either, and a person is told', async () => {
    const before = world.textsTo('+17825550101').length + world.textsTo('+17825550102').length
    await world.passUntil('2026-03-17T09:00:00Z')
    expect(world.textsTo('+17825550101').length + world.textsTo('+17825550102').length).toBe(before)
    expect(world.textsTo('+17825550103').join('\n')).toMatch(/no sex/)
    const calls = await world.deps.store.read.followUps.list({ open: true, reasons: ['person-tells'], limit: 9 })
    expect(calls.map(({ bookingId }) => bookingId).sort()).toEqual(
      ids
        .slice(0, 2)
        .map(({ booking }) => booking)
        .sort(),
    )
    expect(JSON.stringify(calls[0]!.detail)).toMatch(/altered/)
  })

  it('are not written over: a change is refused, and nothing is lost', async () => {
    const { status, body } = await served.patch(`/api/v1/bookings/${ids[0]!.booking}`, {
      patient: { name: 'Somebody' },
    })
    expect([status, body.code]).toEqual([409, 'changed'])
    await query(
      `update patient set sealed = other.sealed from patient as other
       where patient.id <> other.id and patient.id = any($1) and other.id = any($1)`,
      [[ids[0]!.patient, ids[1]!.patient]],
    )
    expect((await world.deps.store.read.patients.get(ids[0]!.patient))!.name).toBe('Marit Quillon')
    expect(await brokenSeals(world.composed.database, world.composed.vault)).toEqual([])
  })
})

describe('what older versions kept in the clear', () => {
  it('is sealed by the running service, and reads as before', async () => {
    const database = await openEmbedded(undefined, null)
    await migrate(database, '0020-signs-of-life')
    const vault = testVault()
    const sql = (text: string, values: unknown[] = []) => database.records.query(text, values)
    await sql(`insert into clinic values ('harbour', 'harbour', '+16135550190', 'America/Toronto', 'CA', '{}')`)
    const patient = sealedUnbound({ name: 'Marit Quillon', phone: '+16135550142', cycle: { status: 'unknown' } })
    await sql(
      `insert into patient (id, clinic_id, phone_print, language, channel, detail, sealed)
       values ('p_1', 'harbour', $1, 'en', 'sms', 'full', $2)`,
      [vault.fingerprint('+16135550142'), patient],
    )
    await sql(
      `insert into booking (id, patient_id, clinic_id, clinician, protocol, visit_at, first_visit_at, zone, state,
         plan_revision, short_notice, created_at, outcome, outcome_because, outcome_at, outcome_by, sealed_lapses)
       values ('b_1', 'p_1', 'harbour', '', 'x', $1, $1, 'America/Toronto', 'booked', 1, false, $1,
         'not-collected', 'bleeding', $1, 'Plantclerk', $2)`,
      [new Date(0), sealedUnbound(['used a cream'])],
    )
    await sql(`insert into consent (patient_id, channel, recorded_by, recorded_at, wording)
      values ('p_1', 'sms', 'Plantclerk', now(), 'Plantwording')`)
    await sql(`insert into happening (at, booking_id, what, by, facts)
      values (now(), 'b_1', 'reply', 'Plantclerk', '{"meaning":"period-started"}')`)
    const call = sealedUnbound({ phone: null, detail: {} })
    await sql(
      `insert into follow_up (id, reason, urgency, clinic_id, booking_id, patient_id, sealed, opened_at, closed_at,
         closed_by, outcome)
       values ('f_1', 'unexpected-bleeding', 1, 'harbour', 'b_1', 'p_1', $1, now(), now(), 'Plantclerk', 'Plantend'),
         ('f_2', 'late-period', 2, 'harbour', 'b_1', 'p_1', $1, now(), null, null, null)`,
      [call],
    )
    const store = await openStore(database, vault)
    const readAll = async () => ({
      patient: await store.read.patients.get('p_1'),
      booking: await store.read.bookings.get('b_1'),
      consents: await store.read.patients.consents('p_1'),
      events: await store.read.events.ofBooking('b_1'),
      calls: await store.read.followUps.list({ bookingId: 'b_1', limit: 9 }),
      open: await store.read.followUps.countOpen('harbour'),
      late: await store.read.followUps.list({ reasons: ['late-period'], limit: 9 }),
    })
    const before = await readAll()
    expect(before.booking!.outcome).toMatchObject({ because: 'bleeding', by: 'Plantclerk' })
    expect(before.calls.map(({ reason, outcome }) => [reason, outcome])).toEqual([
      ['unexpected-bleeding', 'Plantend'],
      ['late-period', null],
    ])

    expect(await resealAll(database, vault)).toBeGreaterThan(8)
    expect(await resealAll(database, vault)).toBe(0)
    await sql(`insert into key_check (print) values ('x') on conflict do nothing`)
    await noteAllBound(database, vault)
    expect(await readAll()).toEqual(before)
    expect(await brokenSeals(database, vault)).toEqual([])

    const dump: string[] = []
    for (const table of ['patient', 'booking', 'consent', 'happening', 'follow_up'])
      dump.push(JSON.stringify((await sql(`select * from ${table}`)).rows))
    expect(dump.join('\n')).not.toMatch(/Plant|bleeding|period/)
    await database.close()
  })
})

describe('a call that a person closed', () => {
  it('keeps who did it and the words, sealed', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.book({ visit: '2026-03-17T10:00' })
    await world.reply('+17825550101', 'hmm maybe?')
    const [call] = await world.deps.store.read.followUps.list({ open: true, limit: 1 })
    await closeFollowUp(world.deps, call!.id, 'Plantclerk', 'Plantend told')
    const { rows } = await world.composed.database.records.query('select * from follow_up')
    expect(JSON.stringify(rows)).not.toMatch(/Plant|unclear/)
    expect(await world.deps.store.read.followUps.get(call!.id)).toMatchObject({
      closedBy: 'Plantclerk',
      outcome: 'Plantend told',
    })
    await world.close()
  })
})

describe('a person whose row was altered without the key', () => {
  it.each([
    ['the role', `role = 'administrator', clinic_id = null`],
    ['the clinic', `clinic_id = 'ridge'`],
    ['the password', `password_hash = (select password_hash from person where login_print <> p.login_print limit 1)`],
    ['a one-time code', `code_hash = 'planted', code_until = now() + interval '1 day'`],
  ])('%s: signs in nowhere, and the list says so', async (_what, change) => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    await hire(world, { login: 'chief', role: 'administrator', clinicId: null })
    const { id } = await hire(world, { login: 'clerk', role: 'desk', clinicId: 'harbour' })
    const headers = await cookieOf(world, id)
    const served = await serveClosed(world)
    expect((await served.ask('/desk/harbour/calls', { headers })).status).toBe(200)
    await world.composed.database.records.query(`update person p set ${change} where id = $1`, [id])
    expect((await served.ask('/desk/harbour/calls', { headers: { ...headers, Accept: 'text/html' } })).status).toBe(303)
    expect(await world.deps.access.read.persons.byLogin('clerk')).toBeUndefined()
    expect(await world.deps.access.read.persons.byCode('planted')).toBeUndefined()
    const names = (await world.deps.access.read.persons.list()).map(({ name }) => name)
    expect(names.filter((name) => name === '(cannot be read)')).toHaveLength(1)
    await served.close()
    await world.close()
  })
})
