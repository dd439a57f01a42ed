import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import type { Patient } from '../../src/domain/booking.ts'
import { findableBy } from '../../src/domain/people/search-words.ts'
import type { Store } from '../../src/flows/ports.ts'
import { testVault } from '../harness/servers.ts'

const patient = (id: string, name: string): Patient => ({ id, name, phone: '+16135550142', language: 'en', channel: 'sms', detail: 'full', cycle: { status: 'unknown' } })
const MARIT = patient('p_1', 'Marit Quillon')
const ISAURA = patient('p_2', 'Isaura Skerrow')

/** How 0002-desk-search kept what patients are found by, until 0007-words; what came later is taken back too. */
const BEFORE = [
  'drop table text_approval',
  'alter table patient drop column words',
  'create table patient_word (print text not null, patient_id text not null references patient (id) on delete cascade, primary key (print, patient_id))',
  `delete from kysely_migration where name >= '0007'`,
]

describe('patients of an older version', () => {
  const vault = testVault()
  let database: Database
  let store: Store

  beforeAll(async () => {
    database = await openEmbedded(undefined)
    store = await openStore(database, vault)
    for (const each of [MARIT, ISAURA]) await store.transact((tx) => tx.patients.insert(each))
    for (const statement of BEFORE) await database.records.query(statement)
    // Isaura was kept before names could be looked for at all.
    for (const word of findableBy(MARIT)) await database.records.query('insert into patient_word values ($1, $2)', [vault.fingerprint(`word ${word}`), MARIT.id])
    store = await openStore(database, vault)
  })
  afterAll(() => database.close())

  it.each([
    ['who had words', ['mar', 'quillon'], [MARIT.id]],
    ['who had none', ['isa', 'skerrow'], [ISAURA.id]],
    ['by number, the newest first', ['#0142'], [ISAURA.id, MARIT.id]],
    ['but not by another name', ['marit', 'skerrow'], []],
  ])('are found: %s', async (_who, words, ids) => {
    expect(await store.read.patients.search(words, 10)).toEqual(ids)
  })

  it('are no longer found by an earlier name', async () => {
    await store.transact((tx) => tx.patients.update({ ...MARIT, name: 'Marit Brandle' }))
    expect(await store.read.patients.search(['marit', 'brandle'], 10)).toEqual([MARIT.id])
    expect(await store.read.patients.search(['quillon'], 10)).toEqual([])
  })
})
