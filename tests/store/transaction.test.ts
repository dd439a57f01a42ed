import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { sql, type Kysely } from 'kysely'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database, Pool } from '../../src/adapters/db/pool.ts'
import { insertRows, rowsOf } from '../../src/adapters/db/prepared-statements.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import { inTransaction } from '../../src/adapters/db/transaction.ts'
import { freshDatabase, serverAddress } from '../harness/servers.ts'

/** Tables of this test alone: what is checked is what PostgreSQL promises of a transaction, whoever speaks to it. */
interface Trial {
  a: { id: number; word: string; at: Date | null }
  b: { id: number; a_id: number }
  trail: { word: string }
}
type TrialDb = Kysely<Trial>

const subjects: { name: string; open: () => Promise<{ database: Database; close: () => Promise<void> }> }[] = [
  {
    name: 'the embedded database',
    open: async () => {
      const database = await openEmbedded(undefined)
      return { database, close: () => database.close() }
    },
  },
]
const server = serverAddress('TEST_DATABASE_URL')
if (server) {
  subjects.push({
    name: 'PostgreSQL',
    open: async () => {
      const { url, drop } = await freshDatabase(server)
      const database = await openServer(url)
      return { database, close: async () => (await database.close(), await drop()) }
    },
  })
}

describe.each(subjects)('a transaction on $name', ({ open }) => {
  let close: () => Promise<void>
  let pool: Pool
  const within = <T>(work: (db: TrialDb) => Promise<T>) => inTransaction(pool, work)
  const all = async (table: string) => (await pool.query(`select * from ${table} order by 1`)).rows

  beforeAll(async () => {
    const opened = await open()
    ;({ records: pool } = opened.database)
    close = opened.close
    await pool.query('create schema if not exists daysix')
    await pool.query('set search_path to daysix')
    await pool.query('create table daysix.a (id integer primary key, word text not null, at timestamptz)')
    await pool.query('create table daysix.b (id integer primary key, a_id integer not null references daysix.a)')
    await pool.query('create table daysix.trail (n bigint generated always as identity, word text)')
  })
  afterAll(() => close())

  const add = (db: TrialDb, id: number, word: string, at: Date | null = null) => db.insertInto('a').values({ id, word, at }).execute()

  it('sees its own writes, and nobody else does before it ends', async () => {
    await within(async (db) => {
      await add(db, 1, 'first')
      await db.updateTable('a').set({ word: 'changed' }).where('id', '=', 1).execute()
      expect(await db.selectFrom('a').select('word').where('id', '=', 1).execute()).toEqual([{ word: 'changed' }])
    })
    expect(await all('daysix.a')).toEqual([{ id: 1, word: 'changed', at: null }])
  })

  it('writes to several tables that refer to each other, the later one first too', async () => {
    await within(async (db) => {
      await db.insertInto('b').values({ id: 1, a_id: 2 }).execute()
      await add(db, 2, 'second')
    })
    expect(await all('daysix.b')).toEqual([{ id: 1, a_id: 2 }])
  })

  it('keeps the order of what it adds to one table', async () => {
    const words = Array.from({ length: 20 }, (_, n) => `word ${n}`)
    await within(async (db) => {
      for (const [n, word] of words.entries()) {
        await db.insertInto('trail').values({ word }).execute()
        await add(db, 100 + n, word)
      }
    })
    expect((await all('daysix.trail')).map(({ word }) => word)).toEqual(words)
  })

  it('tells the error of a write at the latest when it ends, and keeps nothing then', async () => {
    const before = await all('daysix.a')
    await expect(within(async (db) => void (await add(db, 3, 'third'), await add(db, 1, 'there already')))).rejects.toThrow(/a_pkey/)
    expect(await all('daysix.a')).toEqual(before)
  })

  it('tells the first error, not that the transaction is over', async () => {
    const work = within(async (db) => {
      await add(db, 1, 'there already')
      await db.selectFrom('a').selectAll().execute()
    })
    await expect(work).rejects.toThrow(/a_pkey/)
  })

  it('keeps nothing of what was asked for at once when one of it fails', async () => {
    const before = await all('daysix.a')
    const work = within(async (db) => {
      await add(db, 4, 'fourth')
      await Promise.all([db.selectFrom('a').selectAll().execute(), sql`select 1 / 0`.execute(db), db.selectFrom('b').selectAll().execute()])
    })
    await expect(work).rejects.toThrow(/division by zero/)
    expect(await all('daysix.a')).toEqual(before)
    await within((db) => add(db, 5, 'the client is as good as new'))
  })

  it('answers what was asked for at once each to whom it belongs', async () => {
    const answers = await within((db) => Promise.all(Array.from({ length: 30 }, (_, n) => sql<{ n: number }>`select ${n}::integer as n`.execute(db))))
    expect(answers.map(({ rows }) => rows[0]!.n)).toEqual(Array.from({ length: 30 }, (_, n) => n))
  })

  it('does nothing when the work fails without the database', async () => {
    const before = await all('daysix.a')
    await expect(within(async (db) => (await add(db, 6, 'sixth'), Promise.reject(new Error('changed my mind'))))).rejects.toThrow('changed my mind')
    expect(await all('daysix.a')).toEqual(before)
  })

  it('goes beside others at the same time', async () => {
    await Promise.all(Array.from({ length: 40 }, (_, n) => within((db) => add(db, 1_000 + n, `beside ${n}`))))
    expect((await all('daysix.a')).filter(({ id }) => (id as number) >= 1_000)).toHaveLength(40)
  })

  it('keeps words as they are: quotes, dollars, other scripts, half characters made readable', async () => {
    const words = [`O'Neil "$1" \\ $2`, 'ਸਵੇਰੇ, Олена', 'line\nbreak', 'cut \ud83d']
    const at = new Date('2026-03-08T06:59:59.123Z')
    await within((db) => insertRows(db as never, 'a' as never, words.map((word, n) => ({ id: 2_000 + n, word, at })) as never))
    const kept = (await all('daysix.a')).filter(({ id }) => (id as number) >= 2_000)
    expect(kept.map(({ word }) => word)).toEqual([...words.slice(0, 3), 'cut \ufffd'])
    expect(kept.every((row) => (row.at as Date).getTime() === at.getTime())).toBe(true)
  })

  describe('knows ready-made statements from their second time on', () => {
    const WORD = 'select word from a where id = $1'
    const wordOf = async (db: TrialDb, id: number) => (await rowsOf<{ word: string }>(db as never, WORD, [id]))[0]?.word
    const write = (db: TrialDb, table: string, rows: object[]) => insertRows(db as never, table as never, rows as never)
    /** Of the one connection that the embedded database has, or of any of the server's. */
    const namesOf = async (db: TrialDb) => (await sql<{ statement: string }>`select statement from pg_prepared_statements where name like 'daysix%'`.execute(db)).rows.map(({ statement }) => statement)

    it('twice at once, and again', async () => {
      await within((db) => write(db, 'a', [{ id: 3_000, word: 'known', at: null }, { id: 3_001, word: 'too', at: null }]))
      const found = await within((db) => Promise.all([wordOf(db, 3_000), wordOf(db, 3_001), wordOf(db, 3_002)]))
      expect(found).toEqual(['known', 'too', undefined])
      for (let n = 0; n < 8; n++) expect(await within((db) => wordOf(db, 3_000))).toBe('known')
      const names = await within(async (db) => (await wordOf(db, 3_000), namesOf(db)))
      expect(names.filter((text) => text === WORD)).toHaveLength(1)
    })

    it('after one of them has failed, in the same transaction or by itself', async () => {
      const again = (db: TrialDb) => write(db, 'a', [{ id: 3_000, word: 'twice', at: null }])
      for (let n = 0; n < 3; n++) {
        await expect(within(again)).rejects.toMatchObject({ code: '23505' })
        await expect(within((db) => Promise.all([again(db).then(() => wordOf(db, 3_000)), wordOf(db, 3_001)]))).rejects.toMatchObject({ code: '23505' })
        expect(await within((db) => wordOf(db, 3_001))).toBe('too')
      }
    })

    it('when several writes go together, with what belongs to each', async () => {
      for (const n of [0, 1, 2]) {
        await within(async (db) => {
          await write(db, 'a', [{ id: 3_100 + n, word: `first ${n}`, at: null }])
          await write(db, 'b', [{ id: 3_100 + n, a_id: 3_100 + n }])
          await write(db, 'trail', [{ word: `trail ${n}` }, { word: `and ${n}` }])
        })
      }
      const trail = (await all('daysix.trail')).map(({ word }) => word as string)
      for (const n of [0, 1, 2]) {
        expect(await within((db) => wordOf(db, 3_100 + n))).toBe(`first ${n}`)
        expect(trail).toEqual(expect.arrayContaining([`trail ${n}`, `and ${n}`]))
      }
      expect((await all('daysix.b')).filter(({ id }) => (id as number) >= 3_100)).toEqual([0, 1, 2].map((n) => ({ id: 3_100 + n, a_id: 3_100 + n })))
    })

    it('when their tables get another column meanwhile', async () => {
      expect(await within((db) => wordOf(db, 3_000))).toBe('known')
      await pool.query('alter table daysix.a add column more text')
      expect(await within((db) => wordOf(db, 3_000))).toBe('known')
      await within((db) => write(db, 'a', [{ id: 3_200, word: 'later', at: null }]))
      expect(await within((db) => wordOf(db, 3_200))).toBe('later')
    })
  })
})
