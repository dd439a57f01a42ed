import { createHash } from 'node:crypto'
import { audit, type Finding } from '../../infra/chaos/audit.ts'
import { Chance } from '../../infra/chaos/random.ts'
import { VirtualClock } from '../../src/adapters/clock/clocks.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { createPocketGateway, type PocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { createVirtualQueue } from '../../src/adapters/queue/virtual-queue.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { bookAndRing } from '../../src/flows/book-visit.ts'
import type { Gateway } from '../../src/flows/gateway.ts'
import { hearReply } from '../../src/flows/hear-reply.ts'
import { addOpenings } from '../../src/flows/manage-openings.ts'
import { sendMessage } from '../../src/flows/send-message.ts'
import { resetAlarms, sweep } from '../../src/flows/sweep.ts'
import { takeReceipt } from '../../src/flows/take-receipt.ts'
import { CLINIC } from '../harness/world.ts'

const MINUTE = 60_000
const DAYS = 7
const TEXTS = ['period started today', '1', 'yes', 'STOP', 'can I use tampons?']

class Crash extends Error {}

/**
 * Days of a clinic on virtual time, in which the service dies at moments that the seed decides: before the network has
 * a message, after it has it, or in the middle of a sweep; with or without losing the queue. One thing happens after
 * the other, so the same seed tells the same story.
 */
export class Simulation {
  readonly #chance: Chance
  readonly #clock = new VirtualClock(new Date('2026-03-09T13:00:00Z'))
  readonly #network: PocketGateway
  readonly #stopped = new Map<string, Date>()
  readonly #booked = new Map<string, string>()
  readonly inDoubt = new Set<string>()
  crashes = 0
  #database!: Database
  #service!: Composed
  #queue = createVirtualQueue(this.#clock)
  #quiet = false

  constructor(seed: number) {
    this.#chance = new Chance(seed)
    const after = (ms: number, work: () => Promise<void>) => this.#clock.after(ms, work)
    this.#network = createPocketGateway({ clock: this.#clock, random: () => this.#chance.next(), after, canLookUp: seed % 3 === 0, onUnknown: seed % 2 ? 'resend' : 'ask-desk' })
  }

  async run(): Promise<{ findings: Finding[]; digest: string }> {
    this.#database = await openEmbedded(undefined)
    await this.#start()
    await this.#service.deps.store.transact((tx) => tx.clinics.put({ ...CLINIC, settings: { ...CLINIC.settings, holdHours: 6 } }))
    for (let step = 0; step < DAYS * 24; step++) await this.#hour(step)
    this.#quiet = true
    for (let step = 0; step < 3; step++) await this.#pass(60)
    const result = { findings: await this.#findings(), digest: await this.#digest() }
    await this.#database.close()
    return result
  }

  async #start(): Promise<void> {
    const config = { ...loadConfig({ NODE_ENV: 'test', LOG_LEVEL: 'silent', DAYSIX_KEY: Buffer.alloc(32, 7).toString('base64') }), sweepSeconds: 0 }
    const time = { clock: this.#clock, after: (ms: number, work: () => Promise<void>) => this.#clock.after(ms, work) }
    const random = (count: number) => this.#chance.bytes(count)
    this.#service = await compose(config, { time, queue: this.#queue, gateways: [this.#deadly()], database: this.#database, inMemory: true, random, notice: () => {} })
    const { deps } = this.#service
    await deps.store.read.workers.forgetOthers(deps.hands.id)
    await this.#queue.start((alarm) => this.#surviving(() => sendMessage(deps, alarm)))
    await this.#network.start({ heard: (heard) => hearReply(deps, heard), receipt: (receipt) => takeReceipt(deps, receipt) })
    await resetAlarms(deps)
  }

  /** The network behind a door at which the service may die. */
  #deadly(): Gateway {
    const network = this.#network
    const { name, channels, onUnknown } = network
    return {
      name, channels, onUnknown,
      start: async () => {},
      stop: async () => {},
      ...(network.lookUp && { lookUp: network.lookUp }),
      send: async (message) => {
        const fate = this.#quiet ? 1 : this.#chance.next()
        if (fate < 0.05) this.#die(message.id)
        const outcome = await network.send(message)
        if (fate < 0.1) this.#die(message.id)
        return outcome
      },
    } // prettier-ignore
  }

  #die(messageId: string): never {
    this.inDoubt.add(messageId)
    throw new Crash()
  }

  /** What kills the service is survived by the world: the machine starts it again. */
  async #surviving(work: () => Promise<unknown>): Promise<void> {
    try {
      await work()
    } catch (error) {
      if (!(error instanceof Crash)) throw error
      this.crashes++
      await this.#network.stop()
      if (this.#chance.happens(0.5)) {
        await this.#queue.stop()
        this.#queue = createVirtualQueue(this.#clock)
      }
      await this.#start()
    }
  }

  async #hour(step: number): Promise<void> {
    if (step < DAYS * 12 && this.#chance.happens(0.35)) await this.#surviving(() => this.#book(step))
    if (this.#chance.happens(0.1)) await this.#surviving(() => addOpenings(this.#service.deps, { clinic: CLINIC.id, at: [this.#time(3, 8), this.#time(3, 8)] }))
    if (this.#chance.happens(0.25)) await this.#someoneWrites()
    await this.#pass(this.#chance.one([1, 30, 60, 60, 61]))
  }

  async #pass(minutes: number): Promise<void> {
    await this.#clock.moveTo(new Date(this.#clock.now().getTime() + minutes * MINUTE))
    await this.#surviving(() => sweep(this.#service.deps))
    await this.#clock.moveTo(this.#clock.now())
  }

  async #book(n: number): Promise<void> {
    const lmp = new Date(this.#clock.now().getTime() - this.#chance.between(3, 26) * 86_400_000).toISOString().slice(0, 10)
    const patient = { name: `Patient ${n}`, phone: `+1782555${String(100 + (n % 90)).padStart(4, '0')}`, language: 'en', channel: 'sms', detail: 'full' } as const
    const request = { clinic: CLINIC.id, protocol: 'liquid-based-cytology', visit: this.#time(2, 4), patient, cycle: { status: 'cycling', lmp } as const, consent: { recordedBy: 'desk' }, by: 'desk' }
    const booked = await bookAndRing(this.#service.deps, request).catch(() => undefined) // a time may be taken
    if (booked) this.#booked.set(`k${n}`, booked.booking.id)
  }

  async #someoneWrites(): Promise<void> {
    const phones = this.#network.phones()
    if (phones.length === 0) return
    const { number } = this.#chance.one(phones)
    const text = this.#chance.one(TEXTS)
    await this.#network.reply(number, text, this.#chance.between(1, 2))
    if (text === 'STOP' && !this.#stopped.has(number)) this.#stopped.set(number, this.#clock.now())
  }

  #time(fromDay: number, toDay: number): string {
    const day = new Date(this.#clock.now().getTime() + this.#chance.between(fromDay, toDay) * 86_400_000).toISOString().slice(0, 10)
    return `${day}T${String(this.#chance.between(8, 17)).padStart(2, '0')}:${String(this.#chance.between(0, 5) * 10).padStart(2, '0')}`
  }

  #findings(): Promise<Finding[]> {
    const acceptances = this.#network.ledger().map(({ messageId, to, text, ref, acceptedAt, notAfter }) => ({ id: messageId, to, text, ref, notAfter, at: acceptedAt, earliest: acceptedAt, receiptUrl: '' }))
    const ask = async (sql: string) => (await this.#database.records.query(sql)).rows
    return audit({ ask, acceptances, inDoubt: this.inDoubt, booked: this.#booked, stopped: this.#stopped, heard: new Set(), now: this.#clock.now() })
  }

  async #digest(): Promise<string> {
    const { rows } = await this.#database.records.query(`select id, state, code, attempt, sent_at from message order by id`)
    return createHash('sha256').update(JSON.stringify([rows, this.#network.ledger()])).digest('hex')
  }
}
