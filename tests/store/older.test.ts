import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { migrate } from '../../src/adapters/db/migrate.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { checkMigration } from '../../src/adapters/db/visits/overlaps.ts'
import { linesOf } from '../../src/cli/migrate.ts'
import { findableBy } from '../../src/domain/patients/search-words.ts'
import type { Store } from '../../src/flows/ports/deps.ts'
import { sealedUnbound, testVault } from '../harness/servers.ts'

// Rows as an older version wrote them, brought up to date by the migrations after it. Invented people.
const PHONE = '+16135550142'
const vault = testVault()

const sealed = sealedUnbound

/** A database as it was after this migration. */
async function asOf(version: Parameters<typeof migrate>[1]): Promise<Database> {
  const database = await openEmbedded(undefined, null)
  await migrate(database, version)
  return database
}

/** Inserts a row with the columns that it names. */
async function insert(database: Database, table: string, row: Record<string, unknown>): Promise<void> {
  const columns = Object.keys(row)
  await database.records.query(
    `insert into ${table} (${columns.join()}) values (${columns.map((_, at) => `$${at + 1}`).join()})`,
    Object.values(row),
  )
}

const patientRow = (id: string, name: string, phone = PHONE) => ({
  ...{ id, language: 'en', channel: 'sms', detail: 'full', phone_print: vault.fingerprint(phone) },
  sealed: sealed({ name, phone, cycle: { status: 'unknown' } }),
})
const clinicRow = (id: string) => ({
  id,
  name: id,
  phone: '+16135550190',
  zone: 'America/Toronto',
  country: 'CA',
  settings: '{}',
})

describe('patients kept before their names could be looked for in their own rows', () => {
  let database: Database
  let store: Store

  beforeAll(async () => {
    database = await asOf('0006-growth')
    await insert(database, 'clinic', clinicRow('harbour'))
    await insert(database, 'patient', patientRow('p_1', 'Marit Quillon'))
    // Isaura was kept before names could be looked for at all.
    await insert(database, 'patient', patientRow('p_2', 'Isaura Skerrow'))
    for (const word of findableBy({ name: 'Marit Quillon', phone: PHONE })) {
      await insert(database, 'patient_word', { print: vault.fingerprint(`word ${word}`), patient_id: 'p_1' })
    }
    store = await openStore(database, vault)
  })
  afterAll(() => database.close())

  it.each([
    ['who had words', ['mar', 'quillon'], ['p_1']],
    ['who had none', ['isa', 'skerrow'], ['p_2']],
    ['by number, the newest first', ['#0142'], ['p_2', 'p_1']],
    ['but not by another name', ['marit', 'skerrow'], []],
  ])('are found: %s', async (_who, words, ids) => {
    expect(await store.read.patients.search(words, 'harbour', 10)).toEqual(ids)
  })

  it('belong to a clinic without the settings that came later, which are unset', async () => {
    expect((await store.read.clinics.get('harbour'))!.settings.emergency).toBeNull()
    expect((await store.read.clinics.list()).map(({ settings }) => settings.emergency)).toEqual([null])
  })

  it('are no longer found by an earlier name', async () => {
    const marit = (await store.read.patients.get('p_1'))!
    await store.transact((tx) => tx.patients.update(marit.id, { name: 'Marit Brandle' }))
    expect(await store.read.patients.search(['marit', 'brandle'], 'harbour', 10)).toEqual(['p_1'])
    expect(await store.read.patients.search(['quillon'], 'harbour', 10)).toEqual([])
  })
})

describe('a patient that two clinics shared becomes one of each', () => {
  let database: Database
  let store: Store
  const at = (day: string) => `2026-03-${day}T14:00:00Z`
  /** Digest of the protocol that made the plans, and still holds. */
  const PLANNED_BY = 'd1'

  const bookingRow = (id: string, clinicId: string, createdAt: string, visitAt: string, patientId = 'p_1') => ({
    ...{
      id,
      patient_id: patientId,
      clinic_id: clinicId,
      clinician: '',
      protocol: 'liquid-based-cytology',
      visit_at: visitAt,
      zone: 'America/Toronto',
    },
    ...{ state: 'booked', plan_revision: 1, plan_basis: PLANNED_BY, short_notice: false, created_at: createdAt },
  })
  const messageRow = (id: string, booking: string, clinicId: string, kind: string, more: object = {}) => ({
    ...{
      id,
      booking_id: booking,
      patient_id: 'p_1',
      clinic_id: clinicId,
      phone_print: vault.fingerprint(PHONE),
      kind,
      channel: 'sms',
      detail: 'full',
    },
    ...{
      language: 'en',
      revision: 1,
      unsolicited: true,
      send_at: at('28'),
      not_after: at('29'),
      state: 'planned',
      attempt: 0,
      gateway: 'pocket',
    },
    ...{ sealed: sealed({ phone: PHONE, choices: [], answer: null, text: null }), ...more },
  })
  const replyRow = (id: string, receivedAt: string, bookingId: string | null) => ({
    ...{
      id,
      gateway: 'pocket',
      key: id,
      phone_print: vault.fingerprint(PHONE),
      received_at: receivedAt,
      booking_id: bookingId,
      done: 'unclear',
    },
    sealed: sealed({ phone: PHONE, text: 'words', reading: null }),
  })

  beforeAll(async () => {
    database = await asOf('0007-words')
    for (const id of ['harbour', 'river', 'tide']) await insert(database, 'clinic', clinicRow(id))
    await insert(database, 'patient', patientRow('p_1', 'Marit Quillon'))
    await insert(database, 'patient', patientRow('p_9', 'Nobody Booked', '+16135550109'))
    await insert(database, 'booking', bookingRow('b_1', 'harbour', at('01'), at('30')))
    await insert(database, 'booking', bookingRow('b_2', 'river', at('05'), at('31')))
    await insert(database, 'booking', bookingRow('b_3', 'tide', at('06'), at('29')))
    await insert(database, 'patient', patientRow('p_8', 'Orla Venn', '+16135550108'))
    await insert(database, 'booking', bookingRow('b_8', 'harbour', at('02'), at('30'), 'p_8'))
    const consent = (recordedAt: string, wording: string) =>
      insert(database, 'consent', {
        patient_id: 'p_1',
        channel: 'sms',
        recorded_by: 'desk',
        recorded_at: recordedAt,
        wording,
      })
    await consent(at('01'), 'told harbour')
    await consent(at('05'), 'told river')
    await insert(database, 'message', messageRow('m_1', 'b_1', 'harbour', 'prep', { state: 'sent', sent_at: at('02') }))
    await insert(database, 'message', messageRow('m_2', 'b_1', 'harbour', 'moved'))
    await insert(database, 'message', messageRow('m_3', 'b_1', 'harbour', 'unclear', { revision: null }))
    await insert(database, 'reply', replyRow('t_1', at('03'), 'b_1'))
    await insert(database, 'reply', replyRow('t_2', at('04'), null))
    await insert(database, 'thread', {
      phone_print: vault.fingerprint(PHONE),
      sealed: sealed({ phone: PHONE, asked: null }),
    })
    store = await openStore(database, vault)
  })
  afterAll(() => database.close())

  it('each with its own visits, name and number', async () => {
    const patients = await store.read.patients.byPhone(PHONE)
    expect(patients.map(({ clinicId, name }) => [clinicId, name])).toEqual(
      ['harbour', 'river', 'tide'].map((clinic) => [clinic, 'Marit Quillon']),
    )
    for (const { id, clinicId } of patients) {
      const visits = await store.read.bookings.list({ patientIds: [id], limit: 10 })
      expect(visits.map((visit) => visit.clinicId)).toEqual([clinicId])
    }
  })

  it('consent stays with the clinic that wrote it down', async () => {
    const patients = await store.read.patients.byPhone(PHONE)
    const wordings = await Promise.all(
      patients.map(async ({ id }) => (await store.read.patients.consents(id)).map(({ wording }) => wording)),
    )
    expect(wordings).toEqual([['told harbour'], ['told river'], []])
  })

  it('and every visit of theirs is planned anew at the start: who may be written to has changed', async () => {
    const { bookings } = store.read
    const changed = await bookings.plannedOtherwise('liquid-based-cytology', PLANNED_BY, new Date(at('20')), 10)
    expect(changed.map(({ id }) => id).sort()).toEqual(['b_1', 'b_2', 'b_3'])
  })

  it('texts belong to the clinic whose visit they were about, or that had written last', async () => {
    expect((await store.read.replies.get('t_1'))!.clinicId).toBe('harbour')
    expect((await store.read.replies.get('t_2'))!.clinicId).toBe('harbour')
  })

  it('what the desk had told belongs to no plan any more, and answers go at any hour', async () => {
    const [notice, answer] = await Promise.all(['m_2', 'm_3'].map((id) => store.read.messages.get(id)))
    expect([notice!.revision, notice!.prompted]).toEqual([null, false])
    expect(answer!.prompted).toBe(true)
    expect((await store.read.messages.get('m_1'))!.revision).toBe(1)
  })

  it('whoever was never booked belongs to some clinic, and visits know their first time', async () => {
    expect((await store.read.patients.get('p_9'))!.clinicId).toBe('harbour')
    expect((await store.read.bookings.get('b_1'))!.firstVisitAt.toISOString()).toBe('2026-03-30T14:00:00.000Z')
  })
})

describe('words kept before it was said whose they are', () => {
  let database: Database
  let store: Store
  const at = '2026-03-01T14:00:00Z'
  const OTHER = '+16135550143'

  const replyRow = (id: string, phone: string, bookingId: string | null) => ({
    ...{ id, gateway: 'pocket', key: id, phone_print: vault.fingerprint(phone), received_at: at },
    ...{ booking_id: bookingId, done: 'unclear', clinic_id: 'harbour' },
    sealed: sealed({ phone, text: 'words', reading: null }),
  })
  const answerRow = (id: string) => ({
    ...{ id, patient_id: 'p_1', clinic_id: 'harbour', phone_print: vault.fingerprint(PHONE) },
    ...{ kind: 'answer', channel: 'sms', detail: 'full', language: 'en', unsolicited: false },
    ...{ send_at: at, not_after: at, state: 'sent', attempt: 1, gateway: 'pocket', prompted: true },
    sealed: sealed({ phone: PHONE, choices: [], answer: 'See you there.', text: null }),
  })

  beforeAll(async () => {
    database = await asOf('0010-text-approvals')
    await insert(database, 'clinic', clinicRow('harbour'))
    for (const [id, name, phone] of [
      ['p_1', 'Marit Quillon', PHONE],
      ['p_2', 'Orla Venn', OTHER],
      ['p_3', 'Isaura Venn', OTHER],
    ] as const) {
      const { language, channel, detail, phone_print, sealed: facts } = patientRow(id, name, phone)
      const row = { id, clinic_id: 'harbour', language, channel, detail, phone_print, sealed: facts }
      await insert(database, 'patient', row)
    }
    await insert(database, 'booking', {
      ...{ id: 'b_2', patient_id: 'p_2', clinic_id: 'harbour', clinician: '', plan_basis: '' },
      ...{ protocol: 'liquid-based-cytology', visit_at: at, first_visit_at: at, created_at: at },
      ...{ zone: 'America/Toronto', state: 'booked', plan_revision: 1, short_notice: false },
    })
    await insert(database, 'reply', replyRow('t_1', PHONE, null))
    await insert(database, 'reply', replyRow('t_2', OTHER, 'b_2'))
    await insert(database, 'reply', replyRow('t_3', OTHER, null))
    await insert(database, 'message', answerRow('m_1'))
    await insert(database, 'message', answerRow('m_2'))
    const written = { at, what: 'written-by-hand', by: 'desk', facts: '{"message":"m_2"}' }
    await insert(database, 'happening', written)
    for (const [id, patient_id, phone] of [
      ['f_1', 'p_1', PHONE],
      ['f_2', 'p_2', OTHER],
    ]) {
      const row = { id, reason: 'died', urgency: 1, clinic_id: 'harbour', patient_id, opened_at: at }
      await insert(database, 'follow_up', { ...row, sealed: sealed({ phone, detail: {} }) })
    }
    store = await openStore(database, vault)
  })
  afterAll(() => database.close())

  it.each([
    ['t_1', 'the only patient at the number', 'p_1'],
    ['t_2', 'whose visit it was about', 'p_2'],
    ['t_3', 'nobody where two share the number', null],
  ])('reply %s is of %s', async (id, _whose, patientId) => {
    expect((await store.read.replies.get(id))!.patientId).toBe(patientId)
  })

  it('a text that the desk wrote is told from a sentence of the protocol', async () => {
    const kept = await Promise.all(['m_1', 'm_2'].map((id) => store.read.messages.get(id)))
    expect(kept.map((message) => message!.byHand)).toEqual([false, true])
  })

  it('an open call is found by the number of its patient', async () => {
    const calls = await store.read.followUps.list({ phone: PHONE, open: true, limit: 10 })
    expect(calls.map(({ id }) => id)).toEqual(['f_1'])
  })
})

describe('what was asked and offered before it was kept why', () => {
  const HOUR_MS = 3_600_000
  const NOW = Date.now()
  const soon = new Date(NOW + 240 * HOUR_MS)
  let database: Database
  let store: Store

  const booked = {
    ...{ id: 'b_1', patient_id: 'p_1', clinic_id: 'harbour', clinician: '' },
    ...{ protocol: 'liquid-based-cytology', visit_at: soon, first_visit_at: soon },
    ...{ zone: 'America/Toronto', state: 'booked', plan_revision: 1, short_notice: false },
    created_at: new Date(NOW),
  }
  const offered = { id: 'r_1', booking_id: 'b_1', state: 'open', choices: '[]' }
  const askedWhich = (id: string, hoursAgo: number) => ({
    ...{ id, gateway: 'pocket', key: id, clinic_id: 'harbour', done: 'asked-which' },
    ...{ phone_print: vault.fingerprint(PHONE), received_at: new Date(NOW - hoursAgo * HOUR_MS) },
    sealed: sealed({ phone: PHONE, text: 'words', reading: null }),
  })

  beforeAll(async () => {
    database = await asOf('0010-text-approvals')
    await insert(database, 'clinic', clinicRow('harbour'))
    const patient = { ...patientRow('p_1', 'Marit Quillon'), clinic_id: 'harbour' }
    await insert(database, 'patient', patient)
    await insert(database, 'booking', booked)
    await insert(database, 'offer', { ...offered, made_at: new Date(NOW), until: soon })
    await insert(database, 'reply', askedWhich('t_1', 72))
    await insert(database, 'reply', askedWhich('t_2', 25))
    await insert(database, 'reply', askedWhich('t_3', 1))
    store = await openStore(database, vault)
  })
  afterAll(() => database.close())

  it('an offer is taken for one to somebody who cannot come', async () => {
    const offer = await store.read.offers.pending('b_1')
    expect(offer).toMatchObject({ id: 'r_1', reason: 'cannot-come' })
  })

  it('only a visit that was asked for lately is still waited for', async () => {
    const waiting = await store.read.replies.unansweredBefore(new Date(NOW), 10)
    expect(waiting.map(({ id }) => id)).toEqual(['t_2', 't_3'])
  })
})

describe('visits kept before they had a length', () => {
  let database: Database
  let store: Store
  let before: string[]
  let told: number[]
  const visit = (id: string, clinician: string, at: string) => ({
    ...{ id, patient_id: 'p_1', clinic_id: 'harbour', clinician, protocol: 'liquid-based-cytology', visit_at: at },
    ...{ zone: 'America/Toronto', state: 'booked', plan_revision: 1, short_notice: false, created_at: at },
    first_visit_at: at,
  })
  const time = (id: string, booking: string | null, clinician: string, at: string) => ({
    ...{ id, clinic_id: 'harbour', clinician, starts_at: at },
    ...{ state: booking === null ? 'free' : 'taken', booking_id: booking },
  })

  beforeAll(async () => {
    database = await asOf('0016-gathered')
    await insert(database, 'clinic', clinicRow('harbour'))
    await insert(database, 'patient', { ...patientRow('p_1', 'Marit Quillon'), clinic_id: 'harbour' })
    for (const [n, clinician, at] of [
      [1, '', '2026-03-20T14:00:00Z'],
      [2, '', '2026-03-20T14:05:00Z'],
      [3, '', '2026-03-20T14:10:00Z'],
      [4, 'room 2', '2026-03-20T14:05:30Z'],
    ] as const) {
      await insert(database, 'booking', visit(`b_${n}`, clinician, at))
      await insert(database, 'slot', time(`o_${n}`, `b_${n}`, clinician, at))
    }
    await insert(database, 'slot', time('o_9', null, '', '2026-03-20T15:00:00Z'))
    before = linesOf(await checkMigration(database, new Date('2026-03-25T00:00:00Z')))
    told = []
    store = await openStore(database, vault, (overlaps) => told.push(overlaps))
  })
  afterAll(() => database.close())

  it('are listed beforehand, two by two, where they overlap, without a name, and counted when they are kept', () => {
    expect(before[0]).toMatch(/^Pending: 0017-duration, 0018-/)
    expect(before.slice(1)).toEqual([
      '2 pairs of visits that the migration will keep as overbooked:',
      'harbour: 2026-03-20T10:00:00-04:00 (b_1) and 2026-03-20T10:05:00-04:00 (b_2)',
      'harbour: 2026-03-20T10:05:00-04:00 (b_2) and 2026-03-20T10:10:00-04:00 (b_3)',
    ])
    expect(told).toEqual([2])
  })

  it('are listed afterwards as long as they are to come', async () => {
    const lines = async (now: string) => linesOf(await checkMigration(database, new Date(now)))
    expect(await lines('2026-03-20T14:16:00Z')).toEqual([
      'The tables are up to date.',
      '1 pair of visits to come that are overbooked:',
      before.at(-1),
    ])
    expect(await lines('2026-03-20T14:30:00Z')).toEqual([
      'The tables are up to date.',
      '0 pairs of visits to come that are overbooked.',
    ])
  })

  it('have the usual one', async () => {
    expect((await store.read.bookings.get('b_1'))!.minutes).toBe(10)
  })

  it('are all kept, those that overlap as overbooked', async () => {
    const from = new Date('2026-03-20T00:00:00Z')
    const slots = await store.read.slots.list({ clinicId: 'harbour', from, limit: 10 })
    const kept = slots.map(({ id, state, endsAt, overbooked }) => [
      id,
      state,
      endsAt && endsAt.toISOString().slice(11, 16),
      overbooked,
    ])
    expect(kept).toEqual([
      ['o_1', 'taken', '14:10', false],
      ['o_2', 'taken', '14:15', true],
      ['o_4', 'taken', '14:15', false],
      ['o_3', 'taken', '14:20', true],
      ['o_9', 'free', null, false],
    ])
  })
})

describe('consent of before it could end, or be given by another', () => {
  let database: Database
  let store: Store

  beforeAll(async () => {
    database = await asOf('0016-gathered')
    await insert(database, 'clinic', clinicRow('harbour'))
    await insert(database, 'patient', { ...patientRow('p_1', 'Marit Quillon'), clinic_id: 'harbour' })
    const told = { channel: 'sms', recorded_by: 'desk', recorded_at: new Date(0), wording: 'May we?' }
    await insert(database, 'consent', { patient_id: 'p_1', ...told })
    store = await openStore(database, vault)
  })
  afterAll(() => database.close())

  it('is the patient’s, and has no end', async () => {
    expect(await store.read.patients.consents('p_1')).toMatchObject([{ givenBy: 'patient', until: null }])
    const clinic = (await store.read.clinics.get('harbour'))!
    expect(clinic.settings).toMatchObject({ minors: null, askAgainMonths: 12 })
  })
})

describe('a database without any tables', () => {
  it('has everything pending, and no tables after it was looked at', async () => {
    const database = await openEmbedded(undefined, null)
    const { pending, overlaps } = await checkMigration(database, new Date(0))
    expect([pending[0], overlaps]).toEqual(['0001-first', []])
    const { rows } = await database.records.query("select 1 from pg_tables where schemaname = 'daysix'")
    expect(rows).toEqual([])
    await database.close()
  })
})
