import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openAccessStore } from '../../src/adapters/db/access/access-store.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { HELD_TABLES } from '../../src/adapters/db/patients/rights.records.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import type { AccessRecords, AccessStore } from '../../src/flows/ports/access.ts'
import { freshDatabase, serverAddress, testVault } from '../harness/servers.ts'
import { fill, listening, readFromEndToEnd, type Asked } from './plans.ts'

// Own rule: what is done for one patient costs what is held on that patient, however many others there are.
const NOW = new Date('2026-03-09T13:00:00Z')
const server = serverAddress('TEST_DATABASE_URL')

const DATABASES: { name: string; open(): Promise<{ database: Database; close(): Promise<void> }> }[] = [
  {
    name: 'the embedded database',
    open: async () => {
      const database = await openEmbedded(undefined)
      return { database, close: () => database.close() }
    },
  },
]
if (server)
  DATABASES.push({
    name: 'PostgreSQL',
    open: async () => {
      const { url, drop } = await freshDatabase(server)
      const database = await openServer(url)
      return { database, close: async () => (await database.close(), drop()) }
    },
  })

/** Replies and follow-ups as they are kept of patients, and the record of who saw them. */
const OF_PATIENTS = [
  `set session_replication_role = replica`,
  `update reply set patient_id = 'p_' || substr(id, 3), booking_id = 'b_' || substr(id, 3), clinic_id = 'c_1'
     where substr(id, 3)::integer % 3 > 0`,
  `update follow_up set patient_id = 'p_' || substr(id, 3) where substr(id, 3)::integer % 2 = 0`,
  `update message set fallback_of = 'm_' || (substr(id, 3)::integer - 1) where substr(id, 3)::integer % 40 = 2`,
  `insert into audit (seq, at, actor_kind, actor_id, what, facts, previous, hash)
     select n, now(), 'person', 'u_1', 'GET /api/v1/bookings/{id}', '{}', '', '' from generate_series(1, 4000) n`,
  `insert into audit_subject (subject, seq) select 'p_' || n, n from generate_series(1, 4000) n`,
  `update audit_head set seq = 4000`,
  `set session_replication_role = origin`,
  'analyze',
]

describe.each(DATABASES)('among thousands of patients, on $name', ({ open }) => {
  let database: Database
  let close: () => Promise<void>
  let store: AccessStore
  let asked: Asked[] = []

  beforeAll(async () => {
    ;({ database, close } = await open())
    const heard = { ...database, records: listening(database.records, (each) => asked.push(each)) }
    await openStore(heard, testVault())
    store = openAccessStore(heard, testVault())
    await fill(database.records)
    const client = await database.records.connect()
    for (const statement of OF_PATIENTS) await client.query(statement)
    client.release()
  })
  afterAll(() => close())

  const deeds: Record<string, (tx: AccessRecords) => Promise<unknown>> = {
    'what is held on a patient is gathered': ({ rights }) => rights.held('p_7'),
    'a patient is erased': ({ rights }) => rights.erase('p_7', NOW),
    'whose it is that is shown is looked up': ({ whereabouts }) =>
      whereabouts.patientsOf(['p_7', 'b_7', 'f_7', 'm_7', 't_7']),
    'who saw a patient is looked up': ({ audit }) => audit.list({ subject: 'p_7', limit: 50 }),
    'a deed is written down': ({ audit }) =>
      audit.append(
        [{ ...{ at: NOW, actorKind: 'person', actorId: 'u_1', what: 'patient-erased' }, ...{ subjects: ['p_7'] } }].map(
          (entry) => ({ ...entry, clinicId: null, facts: {} }),
        ),
      ),
  }

  it.each(Object.keys(deeds))('%s without reading a large table from end to end', async (name) => {
    asked = []
    const undone = new Error('undone')
    const deed = store.transact(async (tx) => {
      await deeds[name]!(tx)
      throw undone
    })
    await expect(deed).rejects.toBe(undone)
    const queries = asked.filter(({ text }) => /^\s*(select|update|delete|insert|with)/i.test(text))
    expect(queries.length).toBeGreaterThan(0)
    for (const { text, params } of queries)
      expect(await readFromEndToEnd(database.records, `explain (format json) ${text}`, params), text).toEqual([])
  })

  it('what refers to a row that goes is found by an index: the database looks for it with each row', async () => {
    const { rows } = await database.records.query(`
      select c.conrelid::regclass::text as "from", a.attname as column from pg_constraint c
      join pg_attribute a on a.attrelid = c.conrelid and a.attnum = c.conkey[1]
      where c.contype = 'f' and c.confrelid::regclass::text in (${[...HELD_TABLES, 'audit'].map((name) => `'${name}', 'daysix.${name}'`).join()})
        and not exists (select from pg_index i where i.indrelid = c.conrelid and i.indkey[0] = c.conkey[1])`)
    expect(rows).toEqual([])
  })
})
