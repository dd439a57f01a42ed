import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { migrate } from '../../src/adapters/db/migrate.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { testVault } from '../harness/servers.ts'

/**
 * What the migrations make, in one place to be read and reviewed. After a new migration: `npx vitest -u` on this file.
 */
describe('the tables', () => {
  let database: Database

  beforeAll(async () => {
    database = await openEmbedded(undefined, null)
    await openStore(database, testVault())
  })
  afterAll(() => database.close())

  const lines = async (sql: string) => (await database.records.query(sql)).rows.map(({ line }) => line as string)

  it('are as infra/schema.sql shows them', async () => {
    const tables = await lines(
      `select 'table ' || relname || E'\n' || (
         select string_agg('  ' || attname || ' ' || format_type(atttypid, atttypmod) || case when attnotnull then ' not null' else '' end
           || case attidentity when '' then coalesce(' default ' || pg_get_expr(adbin, adrelid), '') else ' generated as identity' end, E'\n' order by attnum)
         from pg_attribute left join pg_attrdef on adrelid = attrelid and adnum = attnum where attrelid = pg_class.oid and attnum > 0 and not attisdropped)
       || coalesce(E'\n' || (select string_agg('  ' || pg_get_constraintdef(oid), E'\n' order by contype, conname) from pg_constraint where conrelid = pg_class.oid and contype <> 'n'), '') as line
       from pg_class where relnamespace = 'daysix'::regnamespace and relkind = 'r' and relname not like 'kysely%' order by relname`,
    )
    const indexes = await lines(
      `select indexdef as line from pg_indexes where schemaname = 'daysix' and tablename not like 'kysely%' order by tablename, indexname`,
    )
    const triggers = await lines(
      `select pg_get_triggerdef(oid) as line from pg_trigger where not tgisinternal and tgrelid in (select oid from pg_class where relnamespace = 'daysix'::regnamespace) order by 1`,
    )
    const head = '-- Written by tests/store/schema.test.ts from the migrations: for reading, not for running.\n'
    await expect([head, ...tables, '', ...indexes, '', ...triggers, ''].join('\n')).toMatchFileSnapshot(
      '../../infra/schema.sql',
    )
  })
})

describe('tables at which a newer version has been', () => {
  let database: Database
  beforeEach(async () => {
    database = await openEmbedded(undefined, null)
    await migrate(database)
    await database.records.query(
      `insert into daysix.kysely_migration (name, timestamp) values ('9001-only-adds', '2030-01-01')`,
    )
  })
  afterEach(() => database.close())

  it('are gone on with, and left alone, where nothing was taken away: as while a new version comes into use', async () => {
    expect(await migrate(database)).toEqual([])
    await openStore(database, testVault())
  })

  it('are refused in one line where what this version needs is no more', async () => {
    await database.records.query(`update daysix.schema_floor set needs = '9001-only-adds'`)
    await expect(migrate(database)).rejects.toMatchObject({
      code: 'bad-config',
      message: expect.stringMatching(/^[^\n]*newer version of Daysix \(9001-only-adds\)[^\n]*$/) as string,
    })
  })
})
