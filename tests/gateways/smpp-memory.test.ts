import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { openGatewayMemory } from '../../src/adapters/db/gateway-memory.ts'
import { migrate } from '../../src/adapters/db/migrate.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import { Reassembly } from '../../src/adapters/gateways/smpp/reassembly.ts'
import { SentBook, type Verdict } from '../../src/adapters/gateways/smpp/sent-book.ts'
import { freshDatabase, serverAddress, testVault } from '../harness/servers.ts'

// What the parts of long texts are to come to, on every store and, where there is a server, from two workers' pools.
// Numbers reserved for fiction.

interface Opened {
  /** Of two workers; the embedded store has one process only. */
  pools: [Database, Database]
  close(): Promise<void>
}

const STORES: { name: string; open(): Promise<Opened> }[] = [
  {
    name: 'the embedded database',
    open: async () => {
      const database = await openEmbedded(undefined)
      await migrate(database)
      return { pools: [database, database], close: () => database.close() }
    },
  },
]
const server = serverAddress('TEST_DATABASE_URL')
if (server) {
  STORES.push({
    name: 'PostgreSQL',
    open: async () => {
      const { url, drop } = await freshDatabase(server)
      const pools: Opened['pools'] = [await openServer(url), await openServer(url)]
      const close = async () => {
        await Promise.all(pools.map((pool) => pool.close()))
        await drop()
      }
      return { pools, close }
    },
  })
}

const START = Date.parse('2026-03-09T13:00:00Z')
const PATIENCE_MS = 120_000
const PATIENT = '+16135550142'
let numbered = 0

describe.each(STORES)('on $name', ({ open }) => {
  let opened: Opened
  let now: Date
  const pass = (ms: number) => void (now = new Date(now.getTime() + ms))
  const rows = async (table: string) =>
    (await opened.pools[0].records.query(`select * from daysix.${table}`)).rows as Record<string, unknown>[]
  const empty = () => opened.pools[0].records.query('delete from daysix.long_reply; delete from daysix.sent_part')

  beforeAll(async () => {
    opened = await open()
    now = new Date(START)
  }, 60_000)
  afterAll(() => opened.close())

  /** What a worker shares with others, and what a new process knows: no more than the database. */
  const shared = (worker: 0 | 1, gateway = 'centre') => ({
    gateway,
    now: () => now,
    newId: () => `id-${++numbered}`,
    memory: openGatewayMemory(opened.pools[worker], testVault()),
  })

  describe('the book of what was sent', () => {
    const delivered = (ref: string) => ({ ref, state: 'delivered' as const })
    const undelivered = (ref: string) => ({ ref, state: 'undelivered' as const, code: '5' })

    function bookOf(worker: 0 | 1, verdicts: Verdict[] = [], fault: { next?: boolean } = {}) {
      const { memory, ...common } = shared(worker)
      const tell = async (verdict: Verdict) => {
        if (fault.next) throw new Error('the store is away')
        verdicts.push(verdict)
      }
      return { book: new SentBook({ ...common, parts: memory.sentParts, tell }), verdicts, fault }
    }

    async function send(book: SentBook, messageId: string, refs: string[], parts = refs.length) {
      const sending = book.open(messageId, parts)
      for (const ref of refs) sending.accepted(ref, false)
      return sending.kept()
    }

    it('calls a message of three parts delivered when all three are, and then keeps nothing of it', async () => {
      const { book, verdicts } = bookOf(0)
      expect(await send(book, 'm1', ['a', 'b', 'c'])).toBe('a+b+c')
      for (const ref of ['a', 'c', 'c']) await book.take(delivered(ref))
      expect(verdicts).toEqual([])
      await book.take(delivered('b'))
      expect(verdicts).toEqual([{ messageId: 'm1', state: 'delivered' }])
      expect(await rows('sent_part')).toEqual([])
    })

    it('calls it undelivered when one is not, and delivered when that one is after all', async () => {
      const { book, verdicts } = bookOf(0)
      await send(book, 'm2', ['d', 'e'])
      await book.take(undelivered('d'))
      await book.take(delivered('e'))
      await book.take(delivered('d'))
      await book.take(undelivered('d'))
      expect(verdicts.slice(0, 3)).toEqual([
        { messageId: 'm2', state: 'undelivered', code: '5' },
        { messageId: 'm2', state: 'undelivered', code: '5' },
        { messageId: 'm2', state: 'delivered' },
      ])
      await empty()
    })

    it('counts receipts of before and after a restart, and those of another worker', async () => {
      const [before, after, elsewhere] = [bookOf(0), bookOf(0), bookOf(1)]
      await send(before.book, 'm3', ['f', 'g', 'h'])
      await before.book.take(delivered('h'))
      await elsewhere.book.take(delivered('f'))
      await after.book.take(delivered('g'))
      expect([before.verdicts, elsewhere.verdicts]).toEqual([[], []])
      expect(after.verdicts).toEqual([{ messageId: 'm3', state: 'delivered' }])
    })

    it('counts a receipt that another worker gets before the part is known to be accepted', async () => {
      const [here, there] = [bookOf(0), bookOf(1)]
      for (const ref of ['i', 'j']) await there.book.take(delivered(ref))
      expect(there.verdicts).toEqual(['i', 'j'].map((ref) => ({ ref, state: 'delivered' })))
      await send(here.book, 'm4', ['i', 'j'])
      expect(here.verdicts).toEqual([{ messageId: 'm4', state: 'delivered' }])
      await empty()
    })

    it('comes to the same in whatever order two workers write it down', async () => {
      for (let round = 0; round < 60; round++) {
        const [here, there] = [bookOf(0), bookOf(1)]
        const refs = [1, 2, 3].map((n) => `r${round}-${n}`)
        const takes = refs.map((ref, n) => (n % 2 === 0 ? there : here).book.take(delivered(ref)))
        await Promise.all([send(here.book, `mr${round}`, refs), ...takes])
        const found = [...here.verdicts, ...there.verdicts].filter(({ messageId }) => messageId !== undefined)
        expect(new Set(found.map((one) => JSON.stringify(one)))).toEqual(
          new Set([JSON.stringify({ messageId: `mr${round}`, state: 'delivered' })]),
        )
      }
      expect((await rows('sent_part')).filter(({ sending }) => sending !== null)).toEqual([])
      await empty()
    }, 60_000)

    it('tells what nobody could be told, once those who might have are gone', async () => {
      const [here, there] = [bookOf(0), bookOf(1)]
      await send(here.book, 'm5', ['k', 'l'])
      await here.book.take(delivered('k'))
      here.fault.next = true
      await expect(here.book.take(delivered('l'))).rejects.toThrow('away')
      await there.book.tellDue()
      expect(there.verdicts).toEqual([])
      pass(10_000)
      await there.book.tellDue()
      expect(there.verdicts).toEqual([{ messageId: 'm5', state: 'delivered' }])
      expect(await rows('sent_part')).toEqual([])
    })

    it('does not mix two attempts to send a message', async () => {
      const { book, verdicts } = bookOf(0)
      await send(book, 'm6', ['m', 'n'], 3)
      await send(book, 'm6', ['o', 'p', 'q'])
      for (const ref of ['m', 'n', 'o']) await book.take(delivered(ref))
      expect(verdicts).toEqual([])
      for (const ref of ['p', 'q']) await book.take(delivered(ref))
      expect(verdicts).toEqual([{ messageId: 'm6', state: 'delivered' }])
      await empty()
    })

    it('does not take the receipt of an older message for one whose id the peer gives again', async () => {
      const [here, there] = [bookOf(0), bookOf(1)]
      await there.book.take(delivered('s'))
      pass(600_001)
      await send(here.book, 'm7', ['s', 't'])
      await here.book.take(delivered('t'))
      expect(here.verdicts).toEqual([])
      await empty()
    })

    it('keeps nothing of a message of one part, but for an answer that came late', async () => {
      const [here, there] = [bookOf(0), bookOf(1)]
      expect(await send(here.book, 'm8', ['u'])).toBe('u')
      await here.book.take(delivered('u'))
      expect(here.verdicts).toEqual([{ messageId: 'm8', ref: 'u', state: 'delivered' }])
      expect(await rows('sent_part')).toEqual([])
      const sending = here.book.open('m9', 1)
      sending.accepted('v', true)
      await sending.kept()
      await there.book.take(delivered('v'))
      expect(there.verdicts).toEqual([{ messageId: 'm9', state: 'delivered' }])
    })

    it('lets a receipt of what it does not know go by the peer’s id, and forgets it soon', async () => {
      const { book, verdicts } = bookOf(0)
      await book.take(delivered('old'))
      expect(verdicts).toEqual([{ ref: 'old', state: 'delivered' }])
      pass(600_001)
      await book.tellDue()
      expect(await rows('sent_part')).toEqual([])
    })
  })

  describe('a long reply put together', () => {
    const piece = (text: string) => ({ octets: Buffer.from(text), dataCoding: 0 })
    const part = (number: number, reference = 1, total = 2) => ({ reference, total, number })
    const of = (from: string) => ({ from, to: '80001' })

    function assembly(worker: 0 | 1, gateway?: string) {
      const heard: { id: string; from: string; text: string; at: Date }[] = []
      const faults: Error[] = []
      const { memory, ...common } = shared(worker, gateway)
      const reassembly = new Reassembly({
        ...common,
        texts: memory.longTexts,
        patienceMs: PATIENCE_MS,
        hear: async ({ id, from, at }, pieces) => {
          const fault = faults.shift()
          if (fault) throw fault
          heard.push({ id, from, at, text: pieces.map((one) => one?.octets.toString() ?? '?').join('') })
        },
      })
      const texts = () => heard.map(({ text }) => text)
      return { heard, texts, faults, reassembly }
    }

    it('is one, its parts in any order, before and after a restart and at two workers', async () => {
      const [first, second, third] = [assembly(0), assembly(0), assembly(1)]
      await first.reassembly.add(of(PATIENT), part(3, 1, 3), piece('three'))
      pass(1_000)
      await second.reassembly.add(of(PATIENT), part(1, 1, 3), piece('one'))
      await third.reassembly.add(of(PATIENT), part(2, 1, 3), piece('two'))
      expect([first.texts(), second.texts(), third.texts()]).toEqual([[], [], ['onetwothree']])
      expect(third.heard[0]).toMatchObject({ from: PATIENT, at: new Date(now.getTime() - 1_000) })
      await empty()
    })

    it('is heard once when its parts come to two workers at the same moment', async () => {
      const [here, there] = [assembly(0), assembly(1)]
      const numbers = Array.from({ length: 40 }, (_, n) => `+1613555${String(1000 + n)}`)
      const add = (worker: typeof here, from: string, n: number) =>
        worker.reassembly.add(of(from), part(n), piece(`${from} ${n} `))
      // Each part to both, as a centre does that was not sure.
      await Promise.all(
        numbers.flatMap((from) => [
          ...[add(here, from, 1), add(there, from, 2)],
          ...[add(there, from, 1), add(here, from, 2)],
        ]),
      )
      const all = [...here.heard, ...there.heard]
      // Two may come to hear it, under one key and with the same words: then it is kept once.
      const once = new Map(all.map(({ id, text }) => [id, text]))
      expect([...once.values()].sort()).toEqual(numbers.map((from) => `${from} 1 ${from} 2 `))
      expect(new Set(all.map(({ id, text }) => `${id} ${text}`)).size).toBe(numbers.length)
      expect((await rows('long_reply')).filter(({ heard_at: at }) => at === null)).toEqual([])
      await empty()
    }, 60_000)

    it('is not mixed with another sender’s, nor with another gateway’s', async () => {
      const [here, other] = [assembly(0), assembly(0, 'other')]
      await here.reassembly.add(of('+16135550101'), part(1), piece('a1'))
      await here.reassembly.add(of('+16135550102'), part(2), piece('b2'))
      await other.reassembly.add(of('+16135550101'), part(2), piece('c2'))
      await here.reassembly.add(of('+16135550101'), part(2), piece('a2'))
      await here.reassembly.add(of('+16135550102'), part(1), piece('b1'))
      expect(here.texts()).toEqual(['a1a2', 'b1b2'])
      expect(other.texts()).toEqual([])
      await empty()
    })

    it('is asked for again when it could not be heard, and then heard whole', async () => {
      const { faults, texts, reassembly } = assembly(0)
      await reassembly.add(of(PATIENT), part(1), piece('one'))
      faults.push(new Error('away'))
      await expect(reassembly.add(of(PATIENT), part(2), piece('two'))).rejects.toThrow('away')
      await reassembly.add(of(PATIENT), part(2), piece('two'))
      expect(texts()).toEqual(['onetwo'])
      await empty()
    })

    it('is heard by another worker when the one that had it is gone', async () => {
      const [here, there] = [assembly(0), assembly(1)]
      await here.reassembly.add(of(PATIENT), part(1), piece('one'))
      here.faults.push(new Error('killed'))
      await expect(here.reassembly.add(of(PATIENT), part(2), piece('two'))).rejects.toThrow('killed')
      await there.reassembly.hearDue()
      expect(there.texts()).toEqual([])
      pass(10_000)
      await there.reassembly.hearDue()
      expect(there.texts()).toEqual(['onetwo'])
      await empty()
    })

    it('is heard with a gap when a part never comes, and not before', async () => {
      const [here, there] = [assembly(0), assembly(1)]
      await here.reassembly.add(of(PATIENT), part(2), piece('two'))
      pass(PATIENCE_MS - 1)
      await there.reassembly.hearDue()
      expect(there.texts()).toEqual([])
      pass(1)
      await there.reassembly.hearDue()
      await here.reassembly.hearDue()
      expect([...here.texts(), ...there.texts()]).toEqual(['?two'])
      // What comes later is lost as little.
      await here.reassembly.add(of(PATIENT), part(1), piece('one'))
      pass(PATIENCE_MS)
      await here.reassembly.hearDue()
      expect(here.texts()).toEqual(['one?'])
      await empty()
    })

    it('is heard through another gateway when its own is gone', async () => {
      const [gone, here] = [assembly(0, 'gone'), assembly(0)]
      await gone.reassembly.add(of(PATIENT), part(1), piece('one'))
      pass(3_599_999)
      await here.reassembly.hearDue()
      expect(here.texts()).toEqual([])
      pass(1)
      await here.reassembly.hearDue()
      expect(here.texts()).toEqual(['one?'])
      await empty()
    })

    it('is not begun anew by a part that is told again, before it is heard or after', async () => {
      const { texts, reassembly } = assembly(0)
      for (const n of [1, 1, 2, 2, 1]) await reassembly.add(of(PATIENT), part(n), piece(`${n}`))
      pass(PATIENCE_MS)
      await reassembly.hearDue()
      expect(texts()).toEqual(['12'])
      expect(await rows('long_reply')).toMatchObject([{ sealed: null }])
      pass(3_600_000)
      await reassembly.hearDue()
      expect(await rows('long_reply')).toEqual([])
    })

    it('is another one where the telephone uses a reference again for other words', async () => {
      const { texts, reassembly } = assembly(0)
      for (const [n, text] of [
        [1, 'yes'],
        [2, ' no'],
        [1, 'one'],
        [2, ' two'],
      ] as const)
        // prettier-ignore
        await reassembly.add(of(PATIENT), part(n), piece(text))
      expect(texts()).toEqual(['yes no', 'one two'])
      // The end of the first never came.
      await reassembly.add(of(PATIENT), part(1), piece('lost'))
      await reassembly.add(of(PATIENT), part(1), piece('new'))
      await reassembly.add(of(PATIENT), part(2), piece(' text'))
      expect(texts().slice(2)).toEqual(['lost?', 'new text'])
      await empty()
    })

    it('stands nowhere in the clear, and opens in its own row only', async () => {
      const { texts, reassembly } = assembly(0)
      await reassembly.add(of(PATIENT), part(1), piece('turquoise'))
      const shown = JSON.stringify(await rows('long_reply'))
      for (const clear of ['turquoise', Buffer.from('turquoise').toString('hex'), '6135550142', '80001'])
        expect(shown).not.toContain(clear)
      // Put into another row, it is nobody's: the part that comes is kept all the same.
      await reassembly.add(of('+16135550155'), part(1), piece('other'))
      await opened.pools[0].records.query(`update daysix.long_reply set sealed =
        (select sealed from daysix.long_reply order by id desc limit 1)`)
      await reassembly.add(of(PATIENT), part(2), piece(' marmalade'))
      await reassembly.add(of(PATIENT), part(1), piece('turquoise'))
      expect(texts().at(-1)).toBe('turquoise marmalade')
      await empty()
    })
  })
})
