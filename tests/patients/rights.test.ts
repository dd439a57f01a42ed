import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openGatewayMemory } from '../../src/adapters/db/gateway-memory.ts'
import { HELD_TABLES, KEPT_TABLES } from '../../src/adapters/db/patients/rights.records.ts'
import { exportPatient } from '../../src/flows/patients/export-patient.ts'
import { BY } from '../access/signed-in.ts'
import { erasePatient } from '../../src/flows/patients/erase-patient.ts'
import { retain, retainDaily } from '../../src/flows/patients/retention.ts'
import { TestWorld } from '../harness/world.ts'
import { API_KEY, bearer, serveClosed } from '../access/signed-in.ts'

const PHONE = '+17825550101'
const RULES = { cycleDays: 90, textDays: 365, auditDays: 2557 }

async function everything(world: TestWorld): Promise<Record<string, string>> {
  const { records } = world.composed.database
  const { rows } = await records.query(
    "select table_name from information_schema.tables where table_schema = 'daysix' and table_name not like 'kysely%'",
  )
  const dump: Record<string, string> = {}
  for (const { table_name: table } of rows)
    dump[String(table)] = JSON.stringify((await records.query(`select * from daysix.${String(table)}`)).rows)
  return dump
}

describe('what is held on a patient', () => {
  let world: TestWorld
  let hers: { id: string; patientId: string }
  let other: { id: string; patientId: string }

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.openings('2026-04-08T09:00', '2026-04-09T09:00')
    hers = (await world.book({ visit: '2026-03-25T09:00', name: 'Ada Fenwick', phone: PHONE })).booking
    other = (await world.book({ visit: '2026-03-26T09:00', name: 'Bea Lowther', phone: '782 555 0102' })).booking
    await world.passUntil('2026-03-10T15:00:00Z')
    await world.reply(PHONE, 'my period started yesterday, purple umbrella')
    await world.reply('+17825550102', 'a green kettle')
  })
  afterAll(() => world.close())

  it('is known table by table: whatever the database has of patients is in the list', async () => {
    const { rows } = await world.composed.database.records.query(`
      select table_name from information_schema.columns where table_schema = 'daysix'
        and (column_name in ('patient_id', 'booking_id', 'phone_print', 'phone') or column_name like 'sealed%')
      union
      select c.conrelid::regclass::text from pg_constraint c where c.contype = 'f' and c.confrelid::regclass::text in ('patient', 'booking', 'message', 'daysix.patient', 'daysix.booking', 'daysix.message')`)
    const found = rows.map(({ table_name: name }) => String(name).replace('daysix.', ''))
    // Staff, clinics, a stop of all sending, near misses without names, ends of series and faults of a schedule, which
    // name appointments alone, and answers for repeated requests, which erasure looks through by itself.
    const apart = ['person', 'clinic', 'sending_stop', 'near_miss', 'feed_series', 'feed_fault', 'idempotency']
    expect(found.filter((table) => ![...HELD_TABLES, ...KEPT_TABLES, ...apart].includes(table))).toEqual([])
  })

  it('is exported whole, in plain words, and nobody else’s with it', async () => {
    const { held } = await exportPatient(world.deps, hers.patientId, BY)
    const text = JSON.stringify(held)
    for (const part of ['Ada Fenwick', PHONE, '2026-03-02', 'purple umbrella', 'Harbour Clinic', 'period-started'])
      expect(text).toContain(part)
    expect(held.message!.length).toBeGreaterThan(1)
    expect(held.consent![0]).toMatchObject({ channel: 'sms', recordedBy: 'desk', wording: expect.any(String) })
    for (const part of ['Bea Lowther', '+17825550102', 'green kettle', 'sealed', 'phone_print', other.id])
      expect(text).not.toContain(part)
  })

  it('is not mixed up where two patients share a telephone', async () => {
    const sister = (await world.book({ visit: '2026-03-27T09:00', name: 'Cleo Lowther', phone: '782 555 0102' }))
      .booking
    const text = JSON.stringify((await exportPatient(world.deps, sister.patientId, BY)).held)
    expect(text).toContain('Cleo Lowther')
    expect(text).not.toContain('green kettle')
    expect(text).not.toContain('Bea Lowther')
  })

  it('is erased but for counts, over the API, and the wish not to be written to stays', async () => {
    await world.reply(PHONE, 'STOP')
    const before = await everything(world)
    expect(before.booking).toContain(hers.id)
    const served = await serveClosed(world)
    const asked = { method: 'DELETE', headers: bearer(API_KEY) }
    const { status, text } = await served.ask(`/api/v1/patients/${hers.patientId}`, asked)
    expect(status).toBe(200)
    expect(JSON.parse(text).erased).toMatchObject({ patient: 1, booking: 1, consent: 1 })
    const after = await everything(world)
    for (const [table, rows] of Object.entries(after)) {
      if (table.startsWith('audit')) continue
      expect({ table, hers: rows.includes(hers.id) || rows.includes(hers.patientId) }).toEqual({ table, hers: false })
    }
    expect(after.erased_count).toContain('"what":"visits","count":1')
    expect(after.booking).toContain(other.id)
    expect((await served.ask(`/api/v1/patients/${hers.patientId}`, asked)).status).toBe(404)
    await served.close()
    await world.book({ visit: '2026-03-31T10:00', name: 'Ada Fenwick', phone: PHONE })
    expect(await world.reasons()).toContain('opted-out')
  })

  it('erasure frees a time to come and leaves nothing to send', async () => {
    const { booking } = await world.book({ visit: '2026-04-20T09:00', name: 'Dora Finch', phone: '782 555 0104' })
    await erasePatient(world.deps, booking.patientId, BY)
    const again = await world.book({ visit: '2026-04-20T09:00', name: 'Else Grey', phone: '782 555 0105' })
    expect(again.booking.visitAt.toISOString()).toBe('2026-04-20T12:00:00.000Z')
    await world.passUntil('2026-03-12T15:00:00Z')
    expect(world.textsTo('+17825550104')).toEqual([])
  })

  it('answers kept for repeated requests go with the patient', async () => {
    const served = await serveClosed(world)
    const json = {
      visit: '2026-04-21T09:00',
      patient: { name: 'Fay Harrow', phone: '782 555 0106' },
      cycle: { lmp: 'unknown' },
      consent: { recordedBy: 'desk' },
    }
    const { text } = await served.ask('/api/v1/bookings', {
      json,
      headers: { ...bearer(API_KEY), 'Idempotency-Key': 'fay-once-only' },
    })
    const { id } = JSON.parse(text).booking.patient as { id: string }
    const kept = () => world.deps.store.read.idempotency.get('fay-once-only')
    expect(await kept()).toBeDefined()
    await erasePatient(world.deps, id, BY)
    expect(await kept()).toBeUndefined()
    await served.close()
  })

  it('consent is withdrawn by channel, and what was agreed and when stays on record', async () => {
    const served = await serveClosed(world)
    const withdraw = (json: object) =>
      served.ask(`/api/v1/patients/${other.patientId}/consent/withdraw`, { json, headers: bearer(API_KEY) })
    expect(JSON.parse((await withdraw({ channel: 'voice' })).text)).toEqual({ withdrawn: 0 })
    expect(JSON.parse((await withdraw({ channel: 'sms' })).text)).toEqual({ withdrawn: 1 })
    expect(await world.deps.store.read.patients.consents(other.patientId)).toEqual([])
    const { held } = await exportPatient(world.deps, other.patientId, BY)
    expect(held.consent![0]!.withdrawn_at).toEqual(world.clock.now())
    await served.close()
  })

  it('parts of long texts are exported and go with the patient, unless somebody else has the number', async () => {
    const { composed, clock } = world
    const { longTexts, sentParts } = openGatewayMemory(composed.database, composed.vault)
    const [mine, shared] = ['+17825550107', '+17825550102']
    const { booking } = await world.book({ visit: '2026-04-23T09:00', name: 'Gus Marl', phone: mine })
    const [message] = await world.deps.store.read.messages.ofBooking(booking.id)
    const sent = { gateway: 'centre', ref: '17', sending: 's1', messageId: message!.id, parts: 2, at: clock.now() }
    await sentParts.accepted(sent)
    for (const from of [mine, shared]) {
      const name = { gateway: 'centre', from, to: '80001', reference: 7, total: 2 }
      await longTexts.add({ name, number: 1, part: { octets: '6869', coding: 0 }, at: clock.now() }, `l${from}`)
    }
    const { held } = await exportPatient(world.deps, booking.patientId, BY)
    expect(held.sent_part).toMatchObject([{ ref: '17', message_id: message!.id }])
    expect(held.long_reply).toMatchObject([{ from: mine, parts: [{ octets: '6869' }, null] }])
    expect(JSON.stringify(held)).not.toContain('print')
    for (const id of [booking.patientId, other.patientId]) await erasePatient(world.deps, id, BY)
    const left = await composed.database.records.query('select id from long_reply union all select ref from sent_part')
    expect(left.rows).toEqual([{ id: `l${shared}` }])
  })
})

describe('retention', () => {
  let world: TestWorld
  let patientId: string
  let bookingId: string
  const on = (date: string) => world.clock.moveTo(new Date(`${date}T13:00:00Z`))
  const patient = async () => (await world.deps.store.read.patients.get(patientId))!
  const texts = async () =>
    (await world.deps.store.read.messages.ofBooking(bookingId)).filter(({ text }) => text !== null)

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    const { booking } = await world.book({ visit: '2026-03-25T09:00', phone: PHONE })
    ;({ patientId, id: bookingId } = { ...booking, patientId: booking.patientId })
    await world.passUntil('2026-03-20T15:00:00Z', 120)
    await world.reply(PHONE, 'my period started yesterday')
    await world.passUntil('2026-03-26T15:00:00Z', 120)
    for (const { id } of await world.deps.store.read.followUps.list({ open: true, limit: 50 })) {
      await world.deps.store.transact((tx) => tx.followUps.close(id, 'desk', 'called', world.clock.now()))
    }
  })
  afterAll(() => world.close())

  it('keeps cycle data until 90 days after the visit, and no longer', async () => {
    await on('2026-06-22') // 89 days
    await retain(world.deps, RULES)
    expect((await patient()).cycle.lmp).toBeDefined()
    await on('2026-06-24') // 91 days
    const counts = await retain(world.deps, RULES)
    expect(counts.cycles).toBe(1)
    expect(await patient()).toMatchObject({ name: 'Ada Fenwick', phone: PHONE, cycle: { status: 'unknown' } })
    const [reply] = await world.deps.store.read.replies.fromPhone(PHONE, new Date(0))
    expect(reply).toMatchObject({ text: 'my period started yesterday', reading: null })
    const closed = await world.deps.store.read.followUps.list({ open: false, limit: 50 })
    await on('2026-06-26')
    await retain(world.deps, RULES)
    const cleared = await world.deps.store.read.followUps.list({ open: false, limit: 50 })
    expect(cleared).toHaveLength(closed.length)
    expect(cleared.map(({ detail, phone }) => ({ detail, phone }))).toEqual(
      closed.map(() => ({ detail: {}, phone: null })),
    )
  })

  it('keeps the words of messages for a year, and no longer', async () => {
    await on('2027-03-05')
    await retain(world.deps, RULES)
    expect((await texts()).length).toBeGreaterThan(1)
    await on('2027-03-27')
    const counts = await retain(world.deps, RULES)
    expect(counts.messages).toBeGreaterThan(1)
    expect(counts.replies).toBe(1)
    expect(await texts()).toEqual([])
    const states = (await world.deps.store.read.messages.ofBooking(bookingId)).map(({ state }) => state)
    expect(states).toContain('delivered') // that it was sent, and what became of it, stays
  })

  it('clears each thing once, runs once a day whoever asks, and shows what it did', async () => {
    const again = await retain(world.deps, RULES)
    expect([again.cycles, again.messages, again.followUps]).toEqual([0, 0, 0])
    expect(await retainDaily(world.deps, RULES)).toBeNull()
    await on('2027-03-28')
    expect(await retainDaily(world.deps, RULES)).toMatchObject({ cycles: 0, messages: 0 })
    expect(await retainDaily(world.deps, RULES)).toBeNull()
    const served = await serveClosed(world)
    const shown = JSON.parse((await served.ask('/api/v1/retention', { headers: bearer(API_KEY) })).text)
    expect(shown.rules).toEqual(RULES)
    expect(shown.runs[0]).toMatchObject({ at: '2027-03-28T13:00:00.000Z' })
    expect(shown.runs.length).toBeGreaterThan(5)
    await served.close()
  })

  it('a later visit keeps cycle data in use', async () => {
    const { booking } = await world.book({
      visit: '2027-04-20T09:00',
      phone: '782 555 0107',
      name: 'Gwen Ives',
      cycle: { status: 'cycling', lmp: '2027-03-25' },
    })
    await on('2027-05-30')
    await world.book({
      visit: '2027-08-20T09:00',
      phone: '782 555 0107',
      name: 'Gwen Ives',
      cycle: { status: 'cycling', lmp: '2027-05-20' },
    })
    await on('2027-08-01')
    await retain(world.deps, RULES)
    expect((await world.deps.store.read.patients.get(booking.patientId))!.cycle.lmp).toBe('2027-05-20')
  })
})
