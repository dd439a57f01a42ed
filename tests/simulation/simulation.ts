import { createHash } from 'node:crypto'
import { TEST_KEY, testVault } from '../harness/servers.ts'
import { audit, finding, type Finding } from '../../infra/chaos/audit.ts'
import type { Claim } from '../../infra/chaos/fleet.ts'
import { Doubts } from '../../infra/chaos/doubts.ts'
import { Chance } from '../../infra/chaos/random.ts'
import { VirtualClock } from '../../src/adapters/clock/clocks.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import type { NetworkPlan } from '../../src/adapters/gateways/pocket/network-plan.ts'
import { createPocketGateway, type PocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { createVirtualQueue } from '../../src/adapters/queue/virtual-queue.ts'
import { compose } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { Failure } from '../../src/domain/failure.ts'
import type { InboundMessage, Receipt } from '../../src/flows/ports/gateway.ts'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import type { JobQueue } from '../../src/flows/ports/jobs.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { CLINIC } from '../harness/world.ts'
import { Clinic } from './clinic.ts'
import { Broken, Life, Machine, type Fate, type World } from './machine.ts'
import { Turns } from './turns.ts'

const MINUTE = 60_000
const DAYS = 4
const MACHINES = 2
/** Whoever gets no answer asks again so often. */
const TRIES = 20
/** A process that has been silent for so long is gone for the others. */
const SILENT_MS = MINUTE
/**
 * Between the claim and the acceptance others may have many turns, of a millisecond each; or the machine stood still.
 */
const EARLIEST_MS = 5_000
const FLOOR_MS = 30 * MINUTE
/** What nobody takes up for so long, seen so often after everybody has swept, is stuck. */
const STUCK = { ms: 90 * MINUTE, times: 3 }
/**
 * How a phone behaves, by its last digit: some receipts come before the answer is known, some late or never; some get
 * nothing.
 */
const PLANS: Record<string, NetworkPlan> = {
  0: { receiptAfterMs: 1 },
  1: { receiptAfterMs: 1 },
  2: { receiptAfterMs: 20 * MINUTE },
  3: { fate: 'undelivered' },
  4: { fate: 'vanishes' },
  5: { answer: 'later' },
  6: { answer: 'rejected' },
}
const planOf = (to: string) => PLANS[to.at(-1)!]
/** How likely each of the four ways is in which a call can go wrong. */
const ODDS: Record<string, number> = { commit: 0.008, send: 0.02, pause: 0, answer: 0, queue: 0.01 }
const USUAL_ODDS = 0.0015
const STILL_ODDS: Record<string, number> = { commit: 0.02, send: 0.06, pause: 0, answer: 0.01 }
const WAYS = ['breaks-before', 'breaks-after', 'dies-before', 'dies-after'] as const

/** A message that was found waiting, since when and how often. */
interface Seen {
  since: number
  times: number
}

/**
 * Days of a clinic on virtual time: two machines, on which sends, replies, receipts, the desk's changes and sweeps run
 * at the same time and take turns at every call to the outside; connections that break and processes that die at any of
 * these, before or after a commit; a queue that is lost, and machines that stand still. A turn takes a millisecond, so
 * what came first shows in the records. The same seed tells the same story.
 */
export class Simulation implements World {
  readonly turns: Turns
  readonly events = new Map<string, number>()
  /** Errors that nothing of what was done to it explains. */
  readonly unexpected: unknown[] = []
  /** Messages that nobody took up. */
  readonly #stuck: string[] = []
  #waiting = new Map<string, Seen>()
  readonly #seed: number
  readonly #chance: Chance
  readonly #clock = new VirtualClock(new Date('2026-03-09T13:00:00Z'))
  readonly #network: PocketGateway
  readonly #clinic: Clinic
  readonly #machines: Machine[] = []
  readonly #stopped = new Map<string, Date>()
  readonly #heard = new Set<string>()
  /** Messages whose arrival was told, and acknowledged. */
  readonly #delivered = new Set<string>()
  readonly #doubts = new Doubts()
  #database!: Database
  #queue: JobQueue
  #calm = false

  constructor(seed: number) {
    this.#seed = seed
    this.#chance = new Chance(seed)
    this.turns = new Turns(this.#chance, () => this.#clock.moveTo(new Date(this.#clock.now().getTime() + 1)))
    const after = (ms: number, work: () => Promise<void>) =>
      this.#clock.after(ms, async () => this.#begin('network', work))
    const onUnknown = seed % 2 ? 'resend' : 'ask-desk'
    this.#network = createPocketGateway({
      clock: this.#clock,
      random: () => this.#chance.next(),
      after,
      canLookUp: seed % 3 === 0,
      onUnknown,
      rules: planOf,
    })
    this.#queue = this.#newQueue()
    this.#clinic = new Clinic({
      chance: this.#chance,
      now: () => this.#clock.now(),
      begin: (label, flow) => this.#begin(label, flow),
      insist: (flow) => this.#insist(flow),
      phones: () => this.#network.phones().map(({ number }) => number),
      hear: (heard) => this.#hear(heard),
    })
  }

  async run(): Promise<{ findings: Finding[]; digest: string }> {
    this.#database = await openEmbedded(undefined)
    for (let n = 0; n < MACHINES; n++) await this.#build()
    await this.#network.start({ message: (heard) => this.#hear(heard), receipt: (receipt) => this.#receipt(receipt) })
    for (let hour = 0; hour < DAYS * 24; hour++) await this.#hour(hour)
    await this.#calmDown()
    const result = { findings: await this.#findings(), digest: await this.#digest() }
    await this.#database.close()
    return result
  }

  async #build(): Promise<void> {
    const config = {
      ...loadConfig({ NODE_ENV: 'test', LOG_LEVEL: 'silent', DAYSIX_KEY: TEST_KEY }),
      sweepSeconds: 0,
    }
    const time = { clock: this.#clock, after: (ms: number, work: () => Promise<void>) => this.#clock.after(ms, work) }
    const random = (count: number) => this.#chance.bytes(count)
    const { deps } = await compose(config, {
      time,
      queue: this.#queue,
      gateways: [this.#network],
      database: this.#database,
      inMemory: true,
      random,
      notice: () => {},
    })
    const movePolicy = this.#seed % 4 < 2 ? 'at-once' : 'desk-approves'
    await deps.store.transact((tx) =>
      tx.clinics.put({ ...CLINIC, settings: { ...CLINIC.settings, holdHours: 6, movePolicy } }),
    )
    this.#machines.push(new Machine(deps, this))
  }

  // What the machines ask of the world.

  fate(label: string): Fate {
    if (this.#calm) return 'well'
    const odds = ODDS[label] ?? USUAL_ODDS
    const fate = WAYS[Math.floor(this.#chance.next() / odds)] ?? 'well'
    if (fate !== 'well') this.#count(`${label.includes('.') ? 'read' : label} ${fate}`)
    return fate
  }

  queue(): JobQueue {
    return this.#queue
  }

  /** All of a sudden, for minutes, as when a computer sleeps. */
  standsStill(label: string, life: Life): boolean {
    if (this.#calm || this.#machines.some((each) => each.life.still)) return false
    if (!this.#chance.happens(STILL_ODDS[label] ?? USUAL_ODDS)) return false
    this.#count(`stood still after ${label.includes('.') ? 'read' : label}`)
    this.#clock.after(SILENT_MS, async () => this.#forget(life.deps.worker.id))
    this.#clock.after(this.#chance.between(2, 20) * MINUTE, async () => life.goOn())
    return true
  }

  unheard(messageId: string): void {
    this.#doubts.unheard([messageId])
  }

  async died(workerId: string): Promise<void> {
    this.#doubts.claims(await this.#claimsOf(workerId))
    this.#clock.after(SILENT_MS, async () => this.#forget(workerId))
    if (!this.#chance.happens(0.3)) return
    this.#count('queue lost')
    await this.#queue.stop()
    this.#queue = this.#newQueue()
  }

  failed(error: unknown): void {
    if (!(error instanceof Broken) && !(error instanceof Failure)) this.unexpected.push(error)
  }

  #newQueue(): JobQueue {
    const queue = createVirtualQueue(this.#clock)
    // A queue may ring twice, on one machine or two.
    void queue.start(async (job) => {
      for (let times = this.#chance.happens(0.1) ? 2 : 1; times > 0; times--) this.#some().ring({ ...job })
    })
    return queue
  }

  /** The others take a silent process for gone; what it had claimed may be sent again. */
  #forget(workerId: string): void {
    const work = async () => {
      this.#doubts.claims(await this.#claimsOf(workerId))
      await this.#database.records.query('delete from worker where id = $1', [workerId])
    }
    void this.turns.take(this, 'forget', work).catch((error: unknown) => this.failed(error))
  }

  /** Claims of a process whose messages the network has: only these may be sent twice. */
  async #claimsOf(workerId: string): Promise<Claim[]> {
    const { rows } = await this.#database.records.query(
      `select id, attempt from message where state = 'sending' and claimed_by = $1`,
      [workerId],
    )
    const accepted = new Set(this.#network.ledger().map(({ messageId }) => messageId))
    return (rows as unknown as Claim[]).filter(({ id }) => accepted.has(id))
  }

  // What the world asks of the machines.

  #begin(label: string, flow: () => Promise<unknown>): void {
    this.turns.begin(this, label, flow, (error) => this.failed(error))
  }

  #some(): Life {
    return this.#chance.one(this.#machines.map(({ life }) => life).filter(({ still }) => !still))
  }

  /** On some machine; when that dies, whoever asked finds the connection broken. */
  #onSome<T>(flow: (deps: Deps) => Promise<T>): Promise<T> {
    const life = this.#some()
    return Promise.race([flow(life.deps), life.ended])
  }

  async #insist<T>(flow: (deps: Deps) => Promise<T>): Promise<T> {
    for (let tries = 1; ; tries++) {
      try {
        return await this.#onSome(flow)
      } catch (error) {
        if (!(error instanceof Broken) || tries === TRIES) throw error
      }
    }
  }

  async #hear(heard: InboundMessage): Promise<void> {
    await this.#insist((deps) => hearReply(deps, heard))
    this.#heard.add(heard.key)
    if (heard.text === 'STOP' && !this.#stopped.has(heard.from)) this.#stopped.set(heard.from, this.#clock.now())
  }

  /** Some networks know no ids but their own. */
  async #receipt({ messageId, ...receipt }: Receipt): Promise<void> {
    const told = this.#seed % 2 ? receipt : { ...receipt, messageId: messageId! }
    await this.#onSome((deps) => takeReceipt(deps, told)).catch((error: unknown) => {
      this.failed(error)
      throw error
    })
    if (receipt.state === 'delivered') this.#delivered.add(messageId!)
  }

  // How time goes by.

  /** Most of what people do falls into one minute, so that it meets. */
  async #hour(hour: number): Promise<void> {
    const minutes = this.#chance.one([1, 30, 60, 60, 61])
    const busy = this.#chance.between(0, minutes)
    const waiting = (
      await this.#database.records.query(`select id from offer where state = 'waiting' order by id`)
    ).rows.map(({ id }) => String(id))
    const deeds = this.#clinic
      .deeds(hour < (DAYS - 2) * 24, waiting)
      .map((deed) => ({ deed, at: this.#chance.happens(0.7) ? busy : this.#chance.between(0, minutes) }))
    for (let minute = 0; minute <= minutes; minute++) {
      for (const { deed, at } of deeds) if (at === minute) deed()
      await this.#pass(minute === 0 ? 0 : 1)
    }
    await this.#sweepAll()
    await this.#noteStuck()
  }

  async #pass(minutes: number): Promise<void> {
    await this.#clock.moveTo(new Date(this.#clock.now().getTime() + minutes * MINUTE))
    // Where something goes on, a sweep may well come between.
    for (const { life } of this.#machines)
      if (this.turns.waiting > 0 && !life.still && this.#chance.happens(0.4)) life.sweep()
    // What goes out by the wire is out, whether the machine stands still or not.
    await this.turns.run((owner, label) => !(owner instanceof Life && owner.still) || label === 'send')
  }

  async #sweepAll(): Promise<void> {
    for (const { life } of this.#machines) if (!life.still) life.sweep()
    await this.#pass(0)
  }

  /** What nobody takes up, however often the machines sweep: a claim that is left, a message that is due. */
  async #noteStuck(): Promise<void> {
    const now = this.#clock.now().getTime()
    const { rows } = await this.#database.records.query(
      `select id, state, attempt from message where state = 'sending' or (state = 'queued' and send_at < $1)`,
      [new Date(now - MINUTE)],
    )
    const seen = new Map<string, Seen>()
    for (const { id, state, attempt } of rows) {
      const key = `${id} ${state} ${attempt}`
      const { since, times } = this.#waiting.get(key) ?? { since: now, times: 0 }
      seen.set(key, { since, times: times + 1 })
      if (times + 1 >= STUCK.times && now - since > STUCK.ms) this.#stuck.push(key)
    }
    this.#waiting = seen
  }

  async #calmDown(): Promise<void> {
    this.#calm = true
    for (let n = 0; n < 6; n++) {
      for (let minute = 0; minute < 30; minute++) await this.#pass(1)
      await this.#sweepAll()
    }
  }

  #count(event: string): void {
    this.events.set(event, (this.events.get(event) ?? 0) + 1)
  }

  async #findings(): Promise<Finding[]> {
    const before = (at: Date, ms: number) => new Date(at.getTime() - ms)
    const acceptances = this.#network.ledger().map(({ messageId, to, text, ref, acceptedAt, notAfter }) => ({
      ...{ id: messageId, to, text, ref, notAfter, at: acceptedAt, real: 0, receiptUrl: '' },
      ...{ earliest: before(acceptedAt, EARLIEST_MS), floor: before(acceptedAt, FLOOR_MS) },
    }))
    const ask = async (sql: string) => (await this.#database.records.query(sql)).rows
    const known = new Set((await ask(`select id from message where state = 'delivered'`)).map(({ id }) => id))
    const found = await audit({
      ask,
      vault: testVault(),
      acceptances,
      doubts: this.#doubts.counts,
      booked: this.#clinic.booked,
      stopped: this.#stopped,
      heard: this.#heard,
      now: this.#clock.now(),
    })
    // By the network's own id alone nobody can tell what was in doubt.
    const arrived = [...this.#delivered].filter((id) => this.#seed % 2 === 0 || !this.#doubts.counts.has(id))
    return [
      ...found,
      finding('what arrived is known to have arrived', arrived, (id) => known.has(id)),
      finding('nothing is stuck', this.#stuck, () => false),
    ]
  }

  /** Everything that was sent and became of it, in one short word. @param seed is part of no digest: the story is */
  async #digest(): Promise<string> {
    const { rows } = await this.#database.records.query(
      `select id, state, code, attempt, sent_at from message order by id`,
    )
    const trail = (await this.#database.records.query(`select at, what, booking_id from happening order by id`)).rows
    return createHash('sha256')
      .update(JSON.stringify([rows, trail, this.#network.ledger(), [...this.events]]))
      .digest('hex')
  }
}
