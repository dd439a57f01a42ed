import { setTimeout as pause } from 'node:timers/promises'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import type { Gateway, Outgoing, SendOutcome, Turn } from '../../src/flows/ports/gateway.ts'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import type { SendJob } from '../../src/flows/ports/jobs.ts'
import { createSender, sendMessage, type Sender } from '../../src/flows/messages/send-message.ts'
import { sweep } from '../../src/flows/messages/sweep.ts'
import { SlowProvider } from '../gateways/peers/slow-provider.ts'
import { SOON } from '../harness/patience.ts'
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
    await vi.waitUntil(() => this.#waiting.length > 0, SOON)
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
    world.deps.worker.waiting.clear()
    world.deps.worker.steady = () => true
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
  const alarmOf = async (n: number): Promise<SendJob> => {
    const { id, revision, attempt, sendAt } = await confirmation(n)
    return { messageId: id, revision, attempt, at: sendAt }
  }
  async function ringAll(): Promise<SendJob[]> {
    const jobs = await Promise.all(phones.map((_, n) => alarmOf(n)))
    for (const job of jobs) await sender.send(job)
    return jobs
  }
  const states = async () => Promise.all(phones.map(async (_, n) => (await confirmation(n)).state))
  const takenFrom = () => peer.taken.map(({ to }) => to)

  it('are not claimed before, and leave one by one in the order they came', async () => {
    await ringAll()
    expect(await states()).toEqual(Array(VISITS).fill('queued'))
    await peer.next()
    await peer.next()
    expect(takenFrom()).toEqual(phones.slice(0, 2))
    await vi.waitUntil(async () => (await states()).filter((state) => state === 'sent').length === 2, SOON)
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
    const jobs = await world.deps.store.read.dispatch.overdue(soon, 100)
    const answer = jobs.findLast(({ revision }) => revision === null) // the newest
    await sender.send(answer!)
    await peer.next()
    await peer.next()
    expect(takenFrom()).toEqual([phones[4], phones[0]])
  })

  it('wait once, however often they are rung for', async () => {
    const jobs = await ringAll()
    for (const job of jobs) await sender.send({ ...job, requeued: true })
    for (let n = 0; n < phones.length; n++) await peer.next()
    expect(takenFrom()).toEqual(phones)
    expect(peer.asked).toBe(0)
  })

  it('are not rung for again by the sweep while they wait here, and are where they do not', async () => {
    await ringAll()
    const set = vi.spyOn(world.deps.queue, 'enqueue')
    const lateBy = { ...world.deps, clock: { now: () => new Date(world.clock.now().getTime() + 90_000) } }
    await sweep(lateBy)
    const rung = () => set.mock.calls.flatMap(([jobs]) => jobs.map(({ messageId }) => messageId))
    const ids = await Promise.all(phones.map(async (_, n) => (await confirmation(n)).id))
    expect(rung().filter((id) => ids.includes(id))).toEqual([])
    await sweep({ ...lateBy, worker: { ...world.deps.worker, waiting: new Set() } })
    expect(rung().filter((id) => ids.includes(id))).toHaveLength(VISITS)
  })

  it('are left to whoever comes next when the worker stops, at once', async () => {
    const jobs = await ringAll()
    const set = vi.spyOn(world.deps.queue, 'enqueue')
    await sender.stop()
    expect(await states()).toEqual(Array(VISITS).fill('queued'))
    expect(set.mock.calls.flatMap(([rung]) => rung)).toEqual(jobs.map((job) => ({ ...job, requeued: true })))
    const another = createSender(world.deps, pause)
    peer.forget()
    await another.send(jobs[3]!)
    await peer.next()
    expect(takenFrom()).toEqual([phones[3]])
  })

  it('are not claimed while the worker is not sure of itself', async () => {
    await ringAll()
    world.deps.worker.steady = () => false
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
  const DUE = 60
  // As 15 s of patience, 4 s for an answer and 20 connections, a fifth of it: all of them take twice the patience.
  const LIMITS = { timeoutMs: 3_000, maxConnections: 3 }
  const ANSWER_MS = 300
  let world: TestWorld
  let gateway: Gateway
  let provider: SlowProvider

  beforeAll(async () => {
    provider = await SlowProvider.start(ANSWER_MS)
    const request = { method: 'GET', url: `http://127.0.0.1:${provider.port}/`, query: { to: '{to}' } }
    const deps = {
      clock: { now: () => new Date(START) },
      random: () => 0.5,
      after: () => {},
      secret: () => undefined,
      memory: scratchMemory(),
    }
    gateway = createGateway({ kind: 'http', name: GATEWAY, request, ...LIMITS }, deps)
    await gateway.start({ receipt: async () => {}, message: async () => {} })
    world = await TestWorld.create(START, undefined, [gateway])
    await world.putClinic({ gateway: GATEWAY })
  })
  afterAll(async () => {
    await gateway.stop()
    await world.close()
    await provider.stop()
  })

  async function book(n: number): Promise<Message> {
    const phone = `+178255501${String(n).padStart(2, '0')}`
    const clock = `${String(8 + (n % 10)).padStart(2, '0')}:${n % 20 < 10 ? '00' : '30'}`
    const visit = `2026-03-${20 + Math.floor(n / 20)}T${clock}`
    const { booking } = await world.book({ visit, phone, name: `Patient ${n}`, cycle: { status: 'no-periods' } })
    const messages = await world.deps.store.read.messages.ofBooking(booking.id)
    return messages.find(({ kind }) => kind === 'confirmation')!
  }

  it('leaves nothing in doubt, however many messages are due at once', async () => {
    const messages: Message[] = []
    for (let n = 0; n < DUE; n++) messages.push(await book(n))
    const sender = createSender(world.deps, pause)
    for (const { id, revision, attempt, sendAt } of messages)
      void sender.send({ messageId: id, revision, attempt, at: sendAt })

    const now = () => Promise.all(messages.map(async ({ id }) => (await world.deps.store.read.messages.get(id))!))
    const under = new Set(['planned', 'queued', 'sending'])
    const over = async () => !(await now()).some(({ state }) => under.has(state))
    await vi.waitUntil(over, { ...SOON, interval: 200 })
    await sender.stop()
    expect((await now()).map(({ state, code }) => [state, code])).toEqual(Array(DUE).fill(['sent', null]))
    expect(await world.reasons()).not.toContain('send-unknown')
    expect(provider.open).toHaveLength(DUE)
    expect(Math.max(...provider.open)).toBe(LIMITS.maxConnections)
  })
})
