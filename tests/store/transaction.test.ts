import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { sql } from 'kysely'
import type { Connection } from '../../src/adapters/db/connection.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database, Pool } from '../../src/adapters/db/pool.ts'
import { insertInto, prepared, type InsertStatement } from '../../src/adapters/db/prepared-statements.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import { inTransaction } from '../../src/adapters/db/transaction.ts'
import { freshDatabase, serverAddress } from '../harness/servers.ts'

/** Tables of this test alone: what is checked is what PostgreSQL promises of a transaction, whoever speaks to it. */
interface Trial {
  a: { id: number; word: string; at: Date | null }
  b: { id: number; a_id: number }
  trail: { word: string }
}
type TrialDb = Connection<Trial>

const insertOf = <Row>(table: keyof Trial, columns: (keyof Row)[]) =>
  insertInto(table as never, columns as never) as unknown as InsertStatement<Row>
const ADD = insertOf<Trial['a']>('a', ['id', 'word', 'at'])
const ADD_TO_B = insertOf<Trial['b']>('b', ['id', 'a_id'])
const ADD_TO_TRAIL = insertOf<Trial['trail']>('trail', ['word'])
const WORD = prepared<{ word: string }>('select word from a where id = $1')

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
    await pool.query('create table daysix.late (a_id integer references daysix.a deferrable initially deferred)')
  })
  afterAll(() => close())

  const add = (db: TrialDb, id: number, word: string, at: Date | null = null) =>
    db.insertInto('a').values({ id, word, at }).execute()
  const addOf = (db: TrialDb, id: number, word: string) => db.insert(ADD, [{ id, word, at: null }])
  const wordOf = async (db: TrialDb, id: number) => (await db.rows(WORD, [id]))[0]?.word

  it('sees its own writes, and nobody else does before it ends', async () => {
    await within(async (db) => {
      await add(db, 1, 'first')
      await db.updateTable('a').set({ word: 'changed' }).where('id', '=', 1).execute()
      expect(await db.selectFrom('a').select('word').where('id', '=', 1).execute()).toEqual([{ word: 'changed' }])
    })
    expect(await all('daysix.a')).toEqual([{ id: 1, word: 'changed', at: null }])
  })

  it('commits what nobody waited for, in the order in which it was asked', async () => {
    const found = await within(async (db) => {
      void addOf(db, 2, 'second')
      void db.insert(ADD_TO_B, [{ id: 1, a_id: 2 }])
      const word = await wordOf(db, 2)
      void db.insert(ADD_TO_B, [
        { id: 2, a_id: 2 },
        { id: 3, a_id: 2 },
      ])
      return word
    })
    expect(found).toBe('second')
    expect(await all('daysix.b')).toEqual([1, 2, 3].map((id) => ({ id, a_id: 2 })))
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

  it.each([
    ['made for the question', (db: TrialDb) => add(db, 1, 'there already')],
    ['prepared', (db: TrialDb) => addOf(db, 1, 'there already')],
  ])('tells the error of a statement where its answer is waited for: %s', async (_which, again) => {
    const before = await all('daysix.a')
    const seen: unknown[] = []
    const work = within(async (db) => {
      await add(db, 3, 'third')
      await again(db).catch((error: unknown) => seen.push(error))
    })
    await expect(work).rejects.toThrow(/a_pkey/)
    expect(seen).toMatchObject([{ code: '23505' }])
    expect(await all('daysix.a')).toEqual(before)
  })

  it('fails with the error of a write that nobody waited for, and keeps nothing then', async () => {
    const before = await all('daysix.a')
    await expect(
      within(async (db) => void (await add(db, 3, 'third'), void addOf(db, 1, 'there already'))),
    ).rejects.toThrow(/a_pkey/)
    expect(await all('daysix.a')).toEqual(before)
  })

  it('fails with what went wrong first, not with word that the transaction is over', async () => {
    const work = within(async (db) => {
      void addOf(db, 1, 'there already')
      void db.insert(ADD_TO_B, [{ id: 4, a_id: 4_000 }])
      await db.selectFrom('a').selectAll().execute()
    })
    await expect(work).rejects.toThrow(/a_pkey/)
  })

  it('fails with the error of the work itself, whatever became of its writes', async () => {
    const work = within(async (db) => {
      void addOf(db, 1, 'there already')
      throw new Error('changed my mind')
    })
    await expect(work).rejects.toThrow('changed my mind')
    expect(await within((db) => wordOf(db, 1))).toBe('changed')
  })

  it('fails where only its end shows that something is wrong', async () => {
    const before = await all('daysix.a')
    const work = within(async (db) => {
      void addOf(db, 7, 'seventh')
      await sql`insert into late values (4000)`.execute(db)
    })
    await expect(work).rejects.toMatchObject({ code: '23503' })
    expect(await all('daysix.a')).toEqual(before)
  })

  it('keeps nothing of what was asked for at once when one of it fails', async () => {
    const before = await all('daysix.a')
    const work = within(async (db) => {
      await add(db, 4, 'fourth')
      await Promise.all([
        db.selectFrom('a').selectAll().execute(),
        sql`select 1 / 0`.execute(db),
        db.selectFrom('b').selectAll().execute(),
      ])
    })
    await expect(work).rejects.toThrow(/division by zero/)
    expect(await all('daysix.a')).toEqual(before)
    await within((db) => add(db, 5, 'the client is as good as new'))
  })

  it('answers what was asked for at once each to whom it belongs', async () => {
    const answers = await within((db) =>
      Promise.all(Array.from({ length: 30 }, (_, n) => sql<{ n: number }>`select ${n}::integer as n`.execute(db))),
    )
    expect(answers.map(({ rows }) => rows[0]!.n)).toEqual(Array.from({ length: 30 }, (_, n) => n))
  })

  it('does nothing when the work fails without the database', async () => {
    const before = await all('daysix.a')
    await expect(
      within(async (db) => (await add(db, 6, 'sixth'), Promise.reject(new Error('changed my mind')))),
    ).rejects.toThrow('changed my mind')
    expect(await all('daysix.a')).toEqual(before)
  })

  it('goes beside others at the same time', async () => {
    await Promise.all(Array.from({ length: 40 }, (_, n) => within((db) => add(db, 1_000 + n, `beside ${n}`))))
    expect((await all('daysix.a')).filter(({ id }) => (id as number) >= 1_000)).toHaveLength(40)
  })

  it('keeps words as they are: quotes, dollars, other scripts, half characters made readable', async () => {
    const words = [`O'Neil "$1" \\ $2`, 'ਸਵੇਰੇ, Олена', 'line\nbreak', 'cut \ud83d']
    const at = new Date('2026-03-08T06:59:59.123Z')
    await within((db) =>
      db.insert(
        ADD,
        words.map((word, n) => ({ id: 2_000 + n, word, at })),
      ),
    )
    const kept = (await all('daysix.a')).filter(({ id }) => (id as number) >= 2_000)
    expect(kept.map(({ word }) => word)).toEqual([...words.slice(0, 3), 'cut \ufffd'])
    expect(kept.every((row) => (row.at as Date).getTime() === at.getTime())).toBe(true)
  })

  describe('knows prepared statements from their second time on', () => {
    /** Of the one connection that the embedded database has, or of any of the server's. */
    const namesOf = async (db: TrialDb) =>
      (
        await sql<{
          statement: string
        }>`select statement from pg_prepared_statements where name like 'daysix%'`.execute(db)
      ).rows.map(({ statement }) => statement)

    it('twice at once, and again', async () => {
      await within((db) =>
        db.insert(ADD, [
          { id: 3_000, word: 'known', at: null },
          { id: 3_001, word: 'too', at: null },
        ]),
      )
      const found = await within((db) => Promise.all([wordOf(db, 3_000), wordOf(db, 3_001), wordOf(db, 3_002)]))
      expect(found).toEqual(['known', 'too', undefined])
      for (let n = 0; n < 8; n++) expect(await within((db) => wordOf(db, 3_000))).toBe('known')
      const names = await within(async (db) => (await wordOf(db, 3_000), namesOf(db)))
      expect(names.filter((text) => text === WORD.text)).toHaveLength(1)
    })

    it('after one of them has failed, in the same transaction or by itself', async () => {
      const again = (db: TrialDb) => addOf(db, 3_000, 'twice')
      for (let n = 0; n < 3; n++) {
        await expect(within(again)).rejects.toMatchObject({ code: '23505' })
        await expect(within((db) => Promise.all([again(db), wordOf(db, 3_001)]))).rejects.toMatchObject({
          code: '23505',
        })
        expect(await within((db) => wordOf(db, 3_001))).toBe('too')
      }
    })

    it('when several writes are sent without waiting', async () => {
      for (const n of [0, 1, 2]) {
        await within(async (db) => {
          void addOf(db, 3_100 + n, `first ${n}`)
          void db.insert(ADD_TO_B, [{ id: 3_100 + n, a_id: 3_100 + n }])
          void db.insert(ADD_TO_TRAIL, [{ word: `trail ${n}` }, { word: `and ${n}` }])
        })
      }
      const trail = (await all('daysix.trail')).map(({ word }) => word as string)
      for (const n of [0, 1, 2]) {
        expect(await within((db) => wordOf(db, 3_100 + n))).toBe(`first ${n}`)
        expect(trail).toEqual(expect.arrayContaining([`trail ${n}`, `and ${n}`]))
      }
      expect((await all('daysix.b')).filter(({ id }) => (id as number) >= 3_100)).toEqual(
        [0, 1, 2].map((n) => ({ id: 3_100 + n, a_id: 3_100 + n })),
      )
    })

    it('when their tables get another column meanwhile', async () => {
      expect(await within((db) => wordOf(db, 3_000))).toBe('known')
      await pool.query('alter table daysix.a add column more text')
      expect(await within((db) => wordOf(db, 3_000))).toBe('known')
      await within((db) => addOf(db, 3_200, 'later'))
      expect(await within((db) => wordOf(db, 3_200))).toBe('later')
    })
  })

  it('refuses a row with a column that the statement does not know', async () => {
    const row = { id: 8, word: 'eighth', at: null, more: 'x' }
    await expect(within(async (db) => db.insert(ADD, [row]))).rejects.toThrow(/id,word,at,more/)
    expect(await within((db) => wordOf(db, 8))).toBeUndefined()
  })
})
