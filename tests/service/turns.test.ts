import { createServer, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { setTimeout as pause } from 'node:timers/promises'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import type { Gateway, Outgoing, SendOutcome, Turn } from '../../src/flows/gateway.ts'
import { hearReply } from '../../src/flows/hear-reply.ts'
import { cancelBooking } from '../../src/flows/amend-booking.ts'
import type { Alarm } from '../../src/flows/ports.ts'
import { createSender, sendMessage, type Sender } from '../../src/flows/send-message.ts'
import { sweep } from '../../src/flows/sweep.ts'
import { TestWorld } from '../harness/world.ts'

const GATEWAY = 'peer'
const VISITS = 5
const START = '2026-03-09T13:00:00Z' // 10:00 in Halifax

/** A peer that takes a message only when the test says so, and writes down what it took. */
class SlowPeer implements Gateway {
  readonly name = GATEWAY
  readonly channels = ['sms'] as const
  readonly onUnknown = 'ask-desk' as const
  readonly taken: Outgoing[] = []
  readonly #waiting: ((turn: Turn) => void)[] = []
  /** Turns that are out. */
  out = 0
  send = async (message: Outgoing): Promise<SendOutcome> => {
    this.taken.push(message)
    return { kind: 'accepted' }
  }

  async start() {}
  async stop() {}

  turn(_channel: string, until: AbortSignal): Promise<Turn | undefined> {
    return new Promise((resolve) => {
      until.addEventListener('abort', () => resolve(undefined))
      this.#waiting.push(resolve)
    })
  }

  get asked(): number {
    return this.#waiting.length
  }

  /** Those that waited are gone. */
  forget(): void {
    this.#waiting.length = 0
    this.taken.length = 0
  }

  /** Lets one message go, as soon as one waits. @returns when its turn is over */
  async next(): Promise<void> {
    await vi.waitUntil(() => this.#waiting.length > 0, { timeout: 30_000 })
    await new Promise<void>((over) => {
      this.out++
      let released = false
      const release = () => {
        if (released) return
        released = true
        this.out--
        over()
      }
      this.#waiting.shift()!({ release })
    })
  }
}

describe('messages whose gateway has them wait for a turn', () => {
  const peer = new SlowPeer()
  let world: TestWorld
  let sender: Sender
  let bookings: string[]
  let phones: string[]
  let patients = 0

  beforeAll(async () => {
    world = await TestWorld.create(START, undefined, [peer])
    await world.putClinic({ gateway: GATEWAY })
  })
  afterAll(() => world.close())

  beforeEach(async () => {
    peer.forget()
    world.deps.hands.waiting.clear()
    world.deps.hands.steady = () => true
    sender = createSender(world.deps, pause)
    phones = []
    bookings = []
    for (let n = 0; n < VISITS; n++, patients++) {
      const phone = `+178255501${String(patients).padStart(2, '0')}`
      const visit = `2026-03-${20 + n}T${String(8 + Math.floor(patients / VISITS)).padStart(2, '0')}:00`
      const patient = { phone, name: `Patient ${patients}` }
      const { booking } = await world.book({ visit, ...patient, cycle: { status: 'no-periods' } })
      phones.push(phone)
      bookings.push(booking.id)
    }
  })
  afterEach(() => vi.restoreAllMocks())

  const confirmation = async (n: number) =>
    (await world.deps.store.read.messages.ofBooking(bookings[n]!)).find(({ kind }) => kind === 'confirmation')!
  const alarmOf = async (n: number): Promise<Alarm> => {
    const { id, revision, attempt, sendAt } = await confirmation(n)
    return { messageId: id, revision, attempt, at: sendAt }
  }
  async function ringAll(): Promise<Alarm[]> {
    const alarms = await Promise.all(phones.map((_, n) => alarmOf(n)))
    for (const alarm of alarms) await sender.send(alarm)
    return alarms
  }
  const states = async () => Promise.all(phones.map(async (_, n) => (await confirmation(n)).state))
  const takenFrom = () => peer.taken.map(({ to }) => to)

  it('are not claimed before, and leave one by one in the order they came', async () => {
    await ringAll()
    expect(await states()).toEqual(Array(VISITS).fill('queued'))
    await peer.next()
    await peer.next()
    expect(takenFrom()).toEqual(phones.slice(0, 2))
    await vi.waitUntil(async () => (await states()).filter((state) => state === 'sent').length === 2)
    expect((await states()).slice(2)).toEqual(Array(3).fill('queued'))
  })

  it('are checked when they have it: who wrote STOP or cancelled meanwhile gets nothing', async () => {
    await ringAll()
    await hearReply(world.deps, { gateway: GATEWAY, key: 'k-1', from: phones[0]!, text: 'STOP', at: world.clock.now() })
    await cancelBooking(world.deps, bookings[1]!, 'desk')
    for (let n = 0; n < 3; n++) await peer.next()
    expect(takenFrom()).toEqual([phones[2]])
    expect(peer.out).toBe(0)
  })

  it('are overtaken by answers', async () => {
    await ringAll()
    await hearReply(world.deps, { gateway: GATEWAY, key: 'k-2', from: phones[4]!, text: 'STOP', at: world.clock.now() })
    const soon = new Date(world.clock.now().getTime() + 1)
    const alarms = await world.deps.store.read.dispatch.overdue(soon, 100)
    const answer = alarms.findLast(({ revision }) => revision === null) // the newest
    await sender.send(answer!)
    await peer.next()
    await peer.next()
    expect(takenFrom()).toEqual([phones[4], phones[0]])
  })

  it('wait once, however often they are rung for', async () => {
    const alarms = await ringAll()
    for (const alarm of alarms) await sender.send({ ...alarm, again: true })
    for (let n = 0; n < phones.length; n++) await peer.next()
    expect(takenFrom()).toEqual(phones)
    expect(peer.asked).toBe(0)
  })

  it('are not rung for again by the sweep while they wait here, and are where they do not', async () => {
    await ringAll()
    const set = vi.spyOn(world.deps.queue, 'set')
    const lateBy = { ...world.deps, clock: { now: () => new Date(world.clock.now().getTime() + 90_000) } }
    await sweep(lateBy)
    const rung = () => set.mock.calls.flatMap(([alarms]) => alarms.map(({ messageId }) => messageId))
    const ids = await Promise.all(phones.map(async (_, n) => (await confirmation(n)).id))
    expect(rung().filter((id) => ids.includes(id))).toEqual([])
    await sweep({ ...lateBy, hands: { ...world.deps.hands, waiting: new Set() } })
    expect(rung().filter((id) => ids.includes(id))).toHaveLength(VISITS)
  })

  it('are left to whoever comes next when the worker stops, at once', async () => {
    const alarms = await ringAll()
    const set = vi.spyOn(world.deps.queue, 'set')
    await sender.stop()
    expect(await states()).toEqual(Array(VISITS).fill('queued'))
    expect(set.mock.calls.flatMap(([rung]) => rung)).toEqual(alarms.map((alarm) => ({ ...alarm, again: true })))
    const another = createSender(world.deps, pause)
    peer.forget()
    await another.send(alarms[3]!)
    await peer.next()
    expect(takenFrom()).toEqual([phones[3]])
  })

  it('are not claimed while the worker is not sure of itself', async () => {
    await ringAll()
    world.deps.hands.steady = () => false
    await peer.next()
    expect(peer.taken).toEqual([])
    expect((await confirmation(0)).state).toBe('queued')
  })

  it('wait also where one is sent after the other', async () => {
    const sending = sendMessage(world.deps, await alarmOf(2))
    await peer.next()
    await sending
    expect(takenFrom()).toEqual([phones[2]])
    expect((await confirmation(2)).state).toBe('sent')
  })
})

describe('a provider that is slow and well', () => {
  const ANSWER_MS = 300
  const DUE = 60

  it('leaves nothing in doubt, however many messages are due at once', async () => {
    let open = 0
    let most = 0
    const answer = (response: ServerResponse) => {
      open--
      response.end('ok')
    }
    const server = createServer((_request, response) => {
      most = Math.max(most, ++open)
      setTimeout(answer, ANSWER_MS, response)
    })
    await new Promise<void>((done) => server.listen(0, '127.0.0.1', done))
    const { port } = server.address() as AddressInfo
    const request = { method: 'GET', url: `http://127.0.0.1:${port}/`, query: { to: '{to}' } }
    // As 15 s to 4 s and 20 connections: a tenth of it.
    const described = { kind: 'http', name: GATEWAY, timeoutMs: 1_500, maxConnections: 3, request }
    const deps = { clock: { now: () => new Date(START) }, random: () => 0.5, after: () => {}, secret: () => undefined }
    const gateway = createGateway(described, deps)
    const world = await TestWorld.create(START, undefined, [gateway])
    await gateway.start({ receipt: async () => {}, heard: async () => {} })
    await world.putClinic({ gateway: GATEWAY })
    const ids: string[] = []
    for (let n = 0; n < DUE; n++) {
      const phone = `+178255501${String(n).padStart(2, '0')}`
      const clock = `${String(8 + (n % 10)).padStart(2, '0')}:${n % 20 < 10 ? '00' : '30'}`
      const visit = `2026-03-${20 + Math.floor(n / 20)}T${clock}`
      ids.push((await world.book({ visit, phone, name: `Patient ${n}`, cycle: { status: 'no-periods' } })).booking.id)
    }
    const sender = createSender(world.deps, pause)
    const confirmations = async () => {
      const all = await Promise.all(ids.map((id) => world.deps.store.read.messages.ofBooking(id)))
      return all.flat().filter(({ kind }) => kind === 'confirmation')
    }
    for (const { id, revision, attempt, sendAt } of await confirmations()) {
      void sender.send({ messageId: id, revision, attempt, at: sendAt })
    }
    const under = new Set(['planned', 'queued', 'sending'])
    const waits = async () => (await confirmations()).some(({ state }) => under.has(state))
    await vi.waitUntil(async () => !(await waits()), { timeout: 90_000, interval: 200 })
    expect((await confirmations()).map(({ state, code }) => [state, code])).toEqual(Array(DUE).fill(['sent', null]))
    expect(await world.reasons()).not.toContain('send-unknown')
    expect(most).toBe(3)
    await sender.stop()
    await gateway.stop()
    await world.close()
    await new Promise((done) => server.close(done))
  })
})
