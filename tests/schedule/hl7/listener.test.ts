import { setTimeout as pause } from 'node:timers/promises'
import fc from 'fast-check'
import { afterEach, describe, expect, it } from 'vitest'
import type { Feed } from '../../../src/domain/schedule/feed.ts'
import { RawSender, bookingOf, bookingsOf, faultsOf, framed, FEED, listening, type Listening } from './own-listener.ts'
import { msh, siu } from './messages.ts'

// The bytes are those of the HL7 Transport Specification MLLP; codes of acknowledgements are tables 0008, 0155, 0357.
// Limits and sizes are common practice, no source. A peer of other people's making: listener-peers.test.ts.
let open: Listening[] = []
let senders: RawSender[] = []
afterEach(async () => {
  for (const sender of senders) sender.end()
  for (const { stop, world } of open) {
    await stop()
    await world.close()
  }
  open = []
  senders = []
})
async function start(...how: Parameters<typeof listening>): Promise<Listening> {
  const listener = await listening(...how)
  open.push(listener)
  return listener
}
function connect({ port }: Listening): RawSender {
  const sender = new RawSender(port)
  senders.push(sender)
  return sender
}

describe('a stream of bytes', () => {
  it('may be cut at every byte, and is answered once it is whole', async () => {
    const service = await start()
    const sender = connect(service)
    const bytes = Buffer.from(framed(bookingOf(1)), 'latin1')
    for (const byte of bytes.subarray(0, -2)) {
      sender.write(Uint8Array.of(byte))
      await new Promise(setImmediate)
    }
    expect(sender.left).toBe('')
    // FS ends it; the CR may come or not.
    sender.write(bytes.subarray(-2, -1))
    expect(await sender.next()).toBe('AA C1')
    expect(await bookingsOf(service)).toHaveLength(1)
  })

  it('may hold many messages at once, with other bytes between: each is answered, in order', async () => {
    const service = await start()
    const sender = connect(service)
    const all = Array.from({ length: 20 }, (_, n) => framed(bookingOf(n)))
    sender.write(`\r\n\0${all.join('\0\r\n')}`)
    for (let n = 0; n < 20; n++) expect(await sender.next()).toBe(`AA C${n}`)
    expect(await bookingsOf(service)).toHaveLength(20)
  })

  it('is answered to whoever shuts its own side after the last message, and then ends', async () => {
    const sender = connect(await start())
    sender.socket.end(framed(bookingOf(1)))
    expect(await sender.next()).toBe('AA C1')
    await sender.closed
  })

  it('has a frame that breaks off refused by its head, to be sent again, and goes on', async () => {
    const service = await start()
    const sender = connect(service)
    sender.write(`\x0b${bookingOf(1).slice(0, 150)}`).write(framed(bookingOf(2)))
    expect([await sender.next(), await sender.next()]).toEqual(['AR C1', 'AA C2'])
    expect((await faultsOf(service)).map(({ does, why }) => [does, why])).toEqual([
      ['refuse', 'A frame broke off before its end.'],
    ])
  })

  it('does not wait for ever for the end of a frame, however slowly its bytes come', async () => {
    const service = await start({ limits: { frameMs: 300 } })
    const silent = connect(service).write(`\x0b${bookingOf(1).slice(0, 150)}`)
    const slow = connect(service).write('\x0bMSH')
    const trickle = setInterval(() => slow.write('x'), 50)
    expect(await silent.next()).toBe('AR C1')
    await Promise.all([silent.closed, slow.closed])
    clearInterval(trickle)
    expect(await connect(service).send(bookingOf(1))).toBe('AA C1')
  })

  it('ends where nothing is said for long', async () => {
    const sender = connect(await start({ limits: { idleMs: 200 } }))
    expect(await sender.send(bookingOf(1))).toBe('AA C1')
    await sender.closed
  })

  it('may hold 10 MB in one frame: it is refused for good, without being kept', async () => {
    const service = await start()
    const sender = connect(service)
    sender.write(framed(`${bookingOf(1)}NTE|1||${'x'.repeat(10_000_000)}\r`)).write(framed(bookingOf(2)))
    expect([await sender.next(), await sender.next()]).toEqual(['AE C1', 'AA C2'])
    expect((await faultsOf(service))[0]!.why).toMatch(/^A frame has 1\d{7} bytes/)
  })

  it('may be anything at all: the next sender is served', async () => {
    const service = await start()
    const piece = fc.oneof(
      fc.uint8Array({ maxLength: 400 }),
      fc
        .constantFrom('\x0b', '\x1c', '\r', '\x0bMSH|^~\\&|', '\x0bMSH', '\x06', '\x15')
        .map((text) => Buffer.from(text)),
      fc
        .tuple(fc.nat(framed(bookingOf(1)).length - 1), fc.nat(255))
        .map(([at, byte]) => Uint8Array.from(Buffer.from(framed(bookingOf(1)), 'latin1')).fill(byte, at, at + 1)),
    )
    await fc.assert(
      fc.asyncProperty(fc.array(piece, { maxLength: 8 }), fc.nat(), async (pieces, n) => {
        const wild = connect(service)
        wild.write(Buffer.concat(pieces))
        const good = connect(service)
        expect(await good.send(bookingOf(n % 2_000, { head: { 10: `G${n}` } }))).toMatch(new RegExp(`^AA G${n}$`))
        wild.end()
        good.end()
      }),
      { numRuns: 60, seed: 20260302 },
    )
  })
})

describe('a message', () => {
  it('is answered likewise when it comes again by the same control id, and nothing is done', async () => {
    const service = await start()
    const sender = connect(service)
    const unknown = bookingOf(2).replace('GYN1', 'GYN9')
    expect(await sender.send(bookingOf(1))).toBe('AA C1')
    expect(await sender.send(unknown)).toBe('AE C2')
    const before = JSON.stringify([await bookingsOf(service), await faultsOf(service)])
    expect(await connect(service).send(bookingOf(1))).toBe('AA C1')
    expect(await connect(service).send(unknown)).toBe('AE C2')
    expect(JSON.stringify([await bookingsOf(service), await faultsOf(service)])).toBe(before)
    expect(await bookingsOf(service)).toHaveLength(1)
  })

  it('that is refused is counted and put on the faults of its feed, without what it says', async () => {
    const service = await start()
    const sender = connect(service)
    expect(await sender.send(siu({ MSH: msh('S12', { 9: 'ORU^R01', 10: 'C7' }) }))).toBe('AR C7')
    expect(await sender.send(siu({ MSH: msh('S12', { 10: 'C8' }), PID: '' }))).toBe('AE C8')
    const faults = await faultsOf(service)
    expect(faults.map(({ does, why }) => `${does} ${why.split(':')[0]}`).sort()).toEqual([
      'refuse MSH^1^9',
      'refuse PID',
    ])
    const { days } = await service.world.deps.store.read.feeds.figures(FEED.name, '2026-01-01')
    expect(days).toMatchObject([{ does: 'refuse', count: 2 }])
  })

  it('that is an acknowledgement is never acknowledged', async () => {
    const service = await start()
    const sender = connect(service)
    sender.write(framed('MSH|^~\\&|SKERRYPAS|SKERRY|DAYSIX|SITE|20260302||ACK^S12^ACK|K1|P|2.5.1\rMSA|AA|X1\r'))
    expect(await sender.send(bookingOf(1))).toBe('AA C1')
    expect(sender.left).toBe('')
    expect(await faultsOf(service)).toEqual([])
  })

  it('that nobody foresaw trouble with is put to a person, and the next is taken', async () => {
    const service = await start()
    const sender = connect(service)
    const { records } = service.world.composed.database
    await records.query(`alter table daysix.booking add constraint invented check (protocol <> 'clinician-hpv')`)
    expect(await sender.send(bookingOf(1).replace('PAP^', 'HPVC^'))).toBe('AE C1')
    expect(await sender.send(bookingOf(2))).toBe('AA C2')
    expect((await faultsOf(service)).map(({ why }) => why)).toEqual([expect.stringMatching(/nobody foresaw/)])
  })

  it('goes to the feed that names its sender, else to one that takes any, else to nobody', async () => {
    const named: Feed = { ...FEED, name: 'named', hl7Sender: { application: 'OTHERPAS', facility: '' } }
    const place: Feed = { ...FEED, name: 'place', hl7Sender: { application: 'SKERRYPAS', facility: 'NORTH' } }
    const other = (n: number, head: Record<number, string>) => bookingOf(n, { head })
    const figures = async ({ world }: Listening, feed: string) =>
      (await world.deps.store.read.feeds.figures(feed, '2026-01-01')).days
    const service = await start({ feeds: [FEED, named, place] })
    const sender = connect(service)
    expect(await sender.send(other(1, { 3: 'OTHERPAS' }))).toBe('AA C1')
    expect(await sender.send(other(2, { 4: 'NORTH^1.2.3^ISO' }))).toBe('AA C2')
    expect(await sender.send(other(3, { 4: 'SOUTH' }))).toBe('AA C3')
    for (const feed of ['named', 'place', FEED.name])
      expect(await figures(service, feed), feed).toMatchObject([{ does: 'book', count: 1 }])
    const strict = await start({ feeds: [named] })
    expect(await connect(strict).send(bookingOf(1))).toBe('AR C1')
    expect(await figures(strict, 'named')).toEqual([])
  })
})

describe('many connections', () => {
  it('that say nothing keep no good sender from being served, nor one that comes later', async () => {
    const service = await start({ limits: { most: 500 } })
    const early = connect(service)
    expect(await early.send(bookingOf(1))).toBe('AA C1')
    for (let batch = 0; batch < 20; batch++) {
      for (let n = 0; n < 100; n++) connect(service).write('\x0bMSH|half')
      await pause(20)
    }
    expect(await early.send(bookingOf(2))).toBe('AA C2')
    expect(await connect(service).send(bookingOf(3))).toBe('AA C3')
    const text = await service.world.composed.metrics.text()
    const [, count] = /^daysix_mllp_connections (\d+)$/m.exec(text)!
    // Those that make room are just going.
    expect(Number(count)).toBeLessThan(520)
    expect(Number(count)).toBeGreaterThan(100)
  })

  it('from many senders at once are served one after the other, each message once', async () => {
    const service = await start()
    const answers = await Promise.all(Array.from({ length: 60 }, (_, n) => connect(service).send(bookingOf(n))))
    expect(answers).toEqual(Array.from({ length: 60 }, (_, n) => `AA C${n}`))
    expect(await bookingsOf(service)).toHaveLength(60)
  })

  it('from one that never takes its answers end', async () => {
    const elsewhere: Feed = { ...FEED, hl7Sender: { application: 'OTHERPAS', facility: '' } }
    const service = await start({ limits: { closeMs: 300 }, feeds: [elsewhere] })
    const open = async () =>
      /^daysix_mllp_connections (\d+)$/m.exec(await service.world.composed.metrics.text())?.[1] ?? ''
    const deaf = connect(service)
    deaf.socket.pause()
    deaf.write(framed(bookingOf(1)).repeat(40_000))
    await expect.poll(open, { timeout: 10_000 }).toBe('1')
    await expect.poll(open, { timeout: 60_000, interval: 500 }).toBe('0')
    expect(await connect(service).send(bookingOf(2, { head: { 3: 'OTHERPAS' } }))).toBe('AA C2')
  })
})

describe('an orderly stop', () => {
  it('finishes what is in hand, answers it, and has what came behind sent again', async () => {
    const service = await start()
    const sender = connect(service)
    const idle = connect(service)
    expect(await idle.send(bookingOf(99))).toBe('AA C99')
    sender.write(Array.from({ length: 10 }, (_, n) => framed(bookingOf(n))).join(''))
    const first = await sender.next()
    const stopped = service.stop()
    const answers = [first]
    for (let ack = await sender.next(); ack !== undefined; ack = await sender.next()) answers.push(ack)
    await stopped
    await idle.closed
    expect(answers).toHaveLength(10)
    const taken = answers.filter((ack) => ack!.startsWith('AA')).length
    expect(answers).toEqual(answers.map((_, n) => `${n < taken ? 'AA' : 'AR'} C${n}`))
    expect(taken).toBeLessThan(10)
    expect(await bookingsOf(service)).toHaveLength(taken + 1)
  })
})

it('writes no patient, number or control id into the log, and counts what it did', async () => {
  const service = await start()
  const sender = connect(service)
  await sender.send(bookingOf(1, { head: { 10: 'CONTROL-4711' } }))
  await sender.send(bookingOf(2, { head: { 10: 'CONTROL-4712' } }).replace('GYN1', 'GYN9'))
  await sender.send('MSH|^~\\&|Mabel|Ines\r')
  const log = service.log.join('')
  expect(log).toContain('a message was refused')
  expect(log).not.toMatch(/Mabel|Ines|5550|CONTROL|SKERRY|GYN9/)
  const text = await service.world.composed.metrics.text()
  expect(text).toMatch(/^daysix_feed_messages_total\{feed="skerry",does="book"\} 1$/m)
  expect(text).toMatch(/^daysix_mllp_acknowledgements_total\{code="AA"\} 1$/m)
  expect(text).toMatch(/^daysix_mllp_kept_seconds_count [23]$/m)
})
