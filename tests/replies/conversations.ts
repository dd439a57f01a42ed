import { DateTime } from 'luxon'
import type { FollowUp } from '../../src/domain/calls/follow-up.ts'
import type { Patient } from '../../src/domain/patients/patient.ts'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import type { Booking } from '../../src/domain/visits/booking.ts'
import type { Offer } from '../../src/domain/visits/offer.ts'
import type { Deps, ReplyRecord } from '../../src/flows/ports/deps.ts'
import { correctReading, type Correction } from '../../src/flows/replies/correct-reading.ts'
import { amendBooking, type Amendment } from '../../src/flows/visits/amend-booking.ts'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'

const HOUR_MS = 3_600_000
/** At the clinic: a time within sending hours. */
const MORNING = 10

type Visit = Partial<Parameters<TestWorld['book']>[0]>

/**
 * A clinic and a telephone of their own for each test, in a world that many tests share; time goes
 * on from one to the next. Invented people at numbers reserved for fiction (NANPA 555-01xx). Days
 * are counted from the day on which the test begins.
 */
export class Conversations {
  readonly world: TestWorld
  clinic = ''
  phone = ''
  #today!: DateTime
  #count = 0

  private constructor(world: TestWorld) {
    this.world = world
  }

  static async open(): Promise<Conversations> {
    return new Conversations(await TestWorld.create('2026-03-09T13:00:00Z'))
  }

  get deps(): Deps {
    return this.world.deps
  }

  /** The next test: on a morning, with nobody known at its number. */
  async begin(): Promise<void> {
    const now = DateTime.fromJSDate(this.world.clock.now(), { zone: CLINIC.zone })
    const at = now.set({ hour: MORNING, minute: 0, second: 0, millisecond: 0 })
    this.#today = at >= now ? at : at.plus({ days: 1 })
    await this.world.passUntil(this.#today.toUTC().toISO()!, 240)
    this.phone = this.anotherPhone()
    this.clinic = await this.anotherClinic()
  }

  anotherPhone(): string {
    return `+1782555${String(100 + ++this.#count).padStart(4, '0')}`
  }

  async anotherClinic(settings: Parameters<TestWorld['putClinic']>[0] = {}): Promise<string> {
    const id = `c-${++this.#count}`
    await this.world.putClinic(settings, id)
    return id
  }

  /** A calendar date so many days after the first day of the test. */
  day(days: number): string {
    return this.#today.plus({ days }).toISODate()!
  }

  /** A regular cycle whose last period began so many days ago. */
  cycling(daysAgo: number): CycleHistory {
    return { status: 'cycling', lmp: this.day(-daysAgo), usualCycleDays: 28 }
  }

  /** A visit of somebody without periods, unless told otherwise. */
  async book(visit: string, changes: Visit = {}): Promise<Booking> {
    const usual = {
      clinic: this.clinic,
      phone: this.phone,
      cycle: { status: 'no-periods' },
    } as const
    return (await this.world.book({ ...usual, visit, ...changes })).booking
  }

  /** Three openings, two weeks ahead. */
  openings(clinic = this.clinic) {
    return addOpenings(this.deps, {
      clinic,
      at: [14, 15, 16].map((days) => `${this.day(days)}T09:00`),
    })
  }

  /** Writes from the telephone. @returns the reply as it is kept */
  async write(text: string): Promise<ReplyRecord> {
    await this.world.reply(this.phone, text)
    const replies = await this.deps.store.read.replies.fromPhone(this.phone, new Date(0))
    return replies.findLast((reply) => reply.text === text)!
  }

  correct(
    { id }: Pick<ReplyRecord, 'id'>,
    meaning: Correction['meaning'],
    more: Partial<Correction> = {},
  ): Promise<void> {
    return correctReading(this.deps, id, { meaning, by: 'desk', ...more })
  }

  amend({ id }: Booking, changes: Omit<Amendment, 'by'>): Promise<unknown> {
    return amendBooking(this.deps, id, { ...changes, by: 'desk' })
  }

  pass(hours: number): Promise<void> {
    return this.world.passUntil(new Date(this.world.clock.now().getTime() + hours * HOUR_MS).toISOString(), 60)
  }

  /** Open calls about a visit; without one, all those of the clinic. */
  async calls(visit?: Booking): Promise<FollowUp[]> {
    const { list } = this.deps.store.read.followUps
    return visit
      ? list({ bookingId: visit.id, open: true, limit: 100 })
      : list({ clinicId: this.clinic, open: true, limit: 100 })
  }

  async reasons(visit?: Booking): Promise<string[]> {
    return (await this.calls(visit)).map(({ reason }) => reason)
  }

  /** Reasons of open calls, with the words that stand there. */
  async words(visit?: Booking): Promise<[string, unknown][]> {
    return (await this.calls(visit)).map(({ reason, detail }) => [reason, detail.words])
  }

  async now({ id }: Booking): Promise<Booking> {
    return (await this.deps.store.read.bookings.get(id))!
  }

  async patient({ patientId }: Booking): Promise<Patient> {
    return (await this.deps.store.read.patients.get(patientId))!
  }

  offer({ id }: Booking): Promise<Offer | undefined> {
    return this.deps.store.read.offers.pending(id)
  }

  kinds({ id }: Booking, state: string): Promise<string[]> {
    return this.world.kindsOf(id, state)
  }
}
