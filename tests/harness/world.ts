import { createVirtualQueue } from '../../src/adapters/queue/virtual-queue.ts'
import { VirtualClock } from '../../src/adapters/clock/clocks.ts'
import { createPocketGateway, type PocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { loadConfig, type Config } from '../../src/config.ts'
import type { Channel } from '../../src/domain/messages/texts/kinds.ts'
import type { Clinic } from '../../src/domain/region/clinic.ts'
import { USUAL_ASK_AGAIN_MONTHS } from '../../src/domain/patients/changed-hands.ts'
import { USUAL_MOVE_LIMIT } from '../../src/domain/visits/move-limit.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import { DEFAULT_HOURS } from '../../src/domain/preparation/sending-hours.ts'
import { bookAndRing } from '../../src/flows/visits/book-visit.ts'
import type { Booked, BookingRequest } from '../../src/flows/visits/booking-request.ts'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { sendMessage } from '../../src/flows/messages/send-message.ts'
import { sweep } from '../../src/flows/messages/sweep.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { approveLanguages } from './approvals.ts'

/** Invented data: a clinic and numbers reserved for fiction (NANPA 555-01xx). */
export const CLINIC: Clinic = {
  id: 'harbour',
  name: 'Harbour Clinic',
  phone: '+17825550190',
  zone: 'America/Halifax',
  country: 'CA',
  settings: {
    hours: DEFAULT_HOURS,
    movePolicy: 'at-once',
    lapsePolicy: 'desk-decides',
    moveLimit: USUAL_MOVE_LIMIT,
    minors: null,
    askAgainMonths: USUAL_ASK_AGAIN_MONTHS,
    clock: '24',
    secondOnPaper: false,
    visitMinutes: null,
    calendar: 'none',
    calendarEdition: 1,
    holdHours: 24,
    minConfidence: 0.5,
    gateway: 'pocket',
    emergency: null,
    address: null,
    directions: null,
  },
}

const MINUTE = 60_000

interface Site {
  settings?: Record<string, string>
  approved?: string[]
  feeds?: Feed[]
}

/**
 * The service on virtual time with a simulated network and an embedded database in memory; nothing of ours is mocked.
 */
export class TestWorld {
  readonly clock: VirtualClock
  readonly pocket: PocketGateway
  readonly composed: Composed
  readonly config: Config
  readonly deps: Deps

  private constructor(clock: VirtualClock, pocket: PocketGateway, composed: Composed, config: Config) {
    this.clock = clock
    this.pocket = pocket
    this.composed = composed
    this.config = config
    this.deps = composed.deps
  }

  /**
   * @param databaseUrl a PostgreSQL database of its own; without it, the embedded one in memory.
   * @param more gateways beside the simulated network.
   * @param site what it has set, and which languages it has approved.
   */
  static async create(start: string, databaseUrl?: string, more: Gateway[] = [], site: Site = {}): Promise<TestWorld> {
    const { settings, approved = ['en'], feeds } = site
    const clock = new VirtualClock(new Date(start))
    const after = (ms: number, work: () => Promise<void>) => clock.after(ms, work)
    const pocket = createPocketGateway({ clock, random: () => 0.5, after })
    const loaded = loadConfig({ NODE_ENV: 'test', LOG_LEVEL: 'silent', ...settings })
    const config = { ...loaded, sweepSeconds: 0, port: 0, databaseUrl }
    const queue = createVirtualQueue(clock)
    const composed = await compose(config, {
      time: { clock, after },
      queue,
      gateways: [pocket, ...more],
      inMemory: true,
      ...(feeds && { feeds }),
      notice: () => {},
    })
    const world = new TestWorld(clock, pocket, composed, config)
    await queue.start((job) => sendMessage(composed.deps, job))
    await pocket.start({
      message: (heard) => hearReply(composed.deps, heard),
      receipt: (receipt) => takeReceipt(composed.deps, receipt),
    })
    await approveLanguages(composed.deps, ...approved)
    await world.putClinic()
    return world
  }

  putClinic(changes: Partial<Clinic['settings']> = {}, id = CLINIC.id): Promise<void> {
    const clinic = { ...CLINIC, id, settings: { ...CLINIC.settings, ...changes } }
    return this.deps.store.transact((tx) => tx.clinics.put(clinic))
  }

  book(
    changes: Omit<Partial<BookingRequest>, 'patient'> & {
      visit: string
      name?: string
      phone?: string
      channel?: Channel
    },
  ): Promise<Booked> {
    const { name = 'Ada Fenwick', phone = '782 555 0101', channel = 'sms', ...rest } = changes
    return bookAndRing(this.deps, {
      clinic: CLINIC.id,
      protocol: 'liquid-based-cytology',
      patient: { name, phone, language: 'en', channel, detail: 'full' },
      cycle: { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28 },
      consent: { recordedBy: 'desk' },
      by: 'desk',
      ...rest,
    })
  }

  openings(...at: string[]) {
    return addOpenings(this.deps, { clinic: CLINIC.id, at })
  }

  /** Lets time pass until then, sweeping every so many minutes as the service would. */
  async passUntil(moment: string, everyMinutes = 30): Promise<void> {
    const end = new Date(moment).getTime()
    while (this.clock.now().getTime() < end) {
      await this.clock.moveTo(new Date(Math.min(end, this.clock.now().getTime() + everyMinutes * MINUTE)))
      await sweep(this.deps)
      await this.clock.moveTo(this.clock.now())
    }
  }

  /** The patient writes, and what follows at once happens. */
  async reply(phone: string, text: string): Promise<void> {
    await this.pocket.reply(phone, text)
    await this.clock.moveTo(new Date(this.clock.now().getTime() + MINUTE))
  }

  /** The texts that reached a phone, oldest first. */
  textsTo(phone: string): string[] {
    return this.pocket
      .phone(phone)
      .texts.filter(({ direction }) => direction === 'to-patient')
      .map(({ text }) => text)
  }

  async kindsOf(bookingId: string, state: string): Promise<string[]> {
    return (await this.deps.store.read.messages.ofBooking(bookingId))
      .filter((message) => message.state === state)
      .map(({ kind }) => kind)
  }

  async reasons(open = true): Promise<string[]> {
    return (await this.deps.store.read.followUps.list({ open, limit: 200 })).map(({ reason }) => reason)
  }

  close(): Promise<void> {
    return this.composed.close()
  }
}
