import { DateTime } from 'luxon'
import { Desk, type BookedAnswer } from './desk.ts'
import { CLINICS, ZONE, type DemoPatient } from './scenario.ts'
import type { Transcript } from './transcript.ts'
import { STORY_DAYS, type World } from './world.ts'

/** What must have happened for the story to count as told. */
export interface Ending {
  name: string
  happened: boolean
}

const OPENING_CLOCKS = ['09:00', '09:20', '09:40', '10:00', '10:20', '13:40', '14:00']

/**
 * Tells four weeks of the region: bookings, preparation, a period that comes early, a better time, a STOP, a puzzling
 * reply.
 */
export class Story {
  readonly #world: World
  readonly #desk: Desk
  readonly #transcript: Transcript
  readonly #heard = new Map<string, number>()
  readonly #cast: { heroine: DemoPatient; stopper: DemoPatient; puzzler: DemoPatient }
  readonly bookings = new Map<string, BookedAnswer>()
  stoppedAt: Date | null = null

  constructor(world: World, transcript: Transcript) {
    this.#world = world
    this.#desk = new Desk(world.running.url)
    this.#transcript = transcript
    const [heroine, stopper, puzzler] = world.people
    this.#cast = { heroine: heroine!, stopper: stopper!, puzzler: puzzler! }
  }

  async tell(): Promise<void> {
    await this.#addOpenings()
    this.#planDesk()
    this.#planHeroine()
    const end = this.#day(STORY_DAYS).toJSDate()
    const followed = [this.#cast.heroine, this.#cast.stopper, this.#cast.puzzler].map(({ number }) => number)
    await this.#world.passUntil(new Date(Math.min(end.getTime(), Date.now())), async () => {
      this.#transcript.phones(this.#world.pocket, followed)
      await this.#listen()
    })
  }

  #day(count: number, clock = '00:00'): DateTime {
    const [hour, minute] = clock.split(':').map(Number)
    return this.#world.firstDay.plus({ days: count }).set({ hour: hour!, minute: minute! })
  }

  /** The given day, or the next one on which clinics work. */
  #workday(count: number, clock: string): DateTime {
    const day = this.#day(count, clock)
    return day.weekday > 5 ? day.plus({ days: 8 - day.weekday }) : day
  }

  async #addOpenings(): Promise<void> {
    const days = Array.from({ length: 50 }, (_, index) => this.#day(index + 1)).filter((day) => day.weekday <= 5)
    for (const { id } of CLINICS) {
      const at = days.flatMap((day) => OPENING_CLOCKS.map((clock) => `${day.toISODate()}T${clock}`))
      await this.#desk.post('/openings', { clinic: id, at })
    }
    this.#transcript.say(
      this.#world.time.clock.now(),
      'desk',
      `adds openings at ${CLINICS.map(({ name }) => name).join(', ')}`,
    )
  }

  /** The ordinary traffic: each patient is booked by the desk on the patient's day, at a time that is still open. */
  #planDesk(): void {
    for (const [index, person] of this.#world.people.entries()) {
      if (person === this.#cast.heroine) continue
      const at = this.#workday(person.bookedOnDay, `${9 + (index % 8)}:${String((index * 7) % 60).padStart(2, '0')}`)
      this.#world.time.virtual.at(at.toJSDate(), async () => {
        await this.#book(person, this.#workday(person.visitOnDay, '11:00').plus({ minutes: 10 * index }))
      })
    }
  }

  async #book(person: DemoPatient, visit: DateTime): Promise<BookedAnswer> {
    const now = DateTime.fromJSDate(this.#world.time.clock.now(), { zone: ZONE })
    const cycleDays = now.diff(this.#world.firstDay, 'days').days
    const since = (person.startsOnCycleDay - 1 + Math.floor(cycleDays)) % person.trueCycleDays
    const booked = await this.#desk.post<BookedAnswer>('/bookings', {
      clinic: person.clinic,
      visit: visit.toFormat("yyyy-MM-dd'T'HH:mm"),
      patient: { name: person.name, phone: person.phone, language: person.language },
      cycle: { lmp: now.minus({ days: since }).toISODate(), usualCycleDays: person.usualCycleDays },
      consent: { recordedBy: 'desk', wording: 'May we text you about this visit?' },
    })
    this.bookings.set(person.name, booked)
    return booked
  }

  /** The patient's visit is set for the day after the next period is expected; nobody at the desk notices. */
  #planHeroine(): void {
    const { heroine } = this.#cast
    Object.assign(heroine, { usualCycleDays: 28, trueCycleDays: 28, answers: 0 })
    const visit = this.#midweek(this.#day(12, '10:30'))
    heroine.startsOnCycleDay = 1 + 28 - Math.round(visit.startOf('day').diff(this.#world.firstDay, 'days').days) + 1
    this.#world.time.virtual.at(this.#workday(0, '09:12').toJSDate(), async () => {
      const booked = await this.#book(heroine, visit)
      this.#transcript.say(
        this.#world.time.clock.now(),
        'desk',
        `books ${heroine.name} for ${visit.toFormat('ccc d LLL, HH:mm')}`,
      )
      this.#transcript.say(this.#world.time.clock.now(), 'Daysix', `warns the desk. ${booked.timing.reason}`)
      this.#transcript.say(
        this.#world.time.clock.now(),
        'Daysix',
        `better openings: ${booked.openings.map(({ at }) => this.#short(at)).join('; ')}`,
      )
      this.#transcript.say(this.#world.time.clock.now(), 'desk', 'is busy and keeps the time; the call list now has it')
    })
    this.#reply(heroine, visit.minus({ days: 2 }).set({ hour: 7, minute: 40 }), 'my period started this morning')
  }

  /** A Tuesday, Wednesday or Thursday, so that the two days before are working days too. */
  #midweek(day: DateTime): DateTime {
    let found = day
    while (found.weekday < 3 || found.weekday > 4) found = found.plus({ days: 1 })
    return found
  }

  #short(at: string): string {
    return DateTime.fromISO(at, { zone: ZONE }).toFormat('ccc d LLL, HH:mm')
  }

  #reply(person: DemoPatient, at: DateTime, text: string): void {
    this.#world.time.virtual.at(at.toJSDate(), async () => {
      await this.#world.pocket.reply(person.number, text)
    })
  }

  /** Patients look at their phones: some answer, each in the patient's way. */
  async #listen(): Promise<void> {
    for (const person of this.#world.people) {
      const texts = this.#world.pocket.phone(person.number).texts
      const fresh = texts
        .slice(this.#heard.get(person.number) ?? 0)
        .filter(({ direction }) => direction === 'to-patient')
      this.#heard.set(person.number, texts.length)
      for (const { text } of fresh) this.#answer(person, text, texts.length)
    }
  }

  #answer(person: DemoPatient, text: string, count: number): void {
    const soon = DateTime.fromJSDate(this.#world.time.clock.now(), { zone: ZONE }).plus({ minutes: 20 })
    const { heroine, stopper, puzzler } = this.#cast
    const offered = /\b1\b[\s\S]*\b2\b/.test(text)
    if (person === heroine) return offered ? this.#reply(person, soon, '2') : undefined
    if (person === stopper) {
      if (count > 1) return
      this.stoppedAt = soon.toJSDate()
      return this.#reply(person, soon, 'STOP')
    }
    if (person === puzzler)
      return count > 1 ? undefined : this.#reply(person, soon, 'is it ok if my sister parks behind the bakery')
    if (person.answers < 0.35) return
    if (offered) return this.#reply(person, soon, '1')
    if (person.answers > 0.75 && count === 1) this.#reply(person, soon, 'yes')
  }

  /** Checks against the service's own records and the telephone network's ledger. */
  async endings(): Promise<Ending[]> {
    const { heroine, stopper, puzzler } = this.#cast
    const { deps } = this.#world.composed
    const before = this.bookings.get(heroine.name)
    const after =
      before &&
      (await this.#desk.get<{ booking: { visit: string; preparation: string }; timing: { keep: boolean } }>(
        `/bookings/${before.booking.id}`,
      ))
    const followUps = await deps.store.read.followUps.list({ limit: 1000 })
    const reasons = (person: DemoPatient) =>
      followUps
        .filter(({ bookingId }) => bookingId === this.bookings.get(person.name)?.booking.id)
        .map(({ reason }) => reason)
    const toStopper = this.#world.pocket
      .phone(stopper.number)
      .texts.filter(({ direction, at }) => direction === 'to-patient' && this.stoppedAt && at > this.stoppedAt)
    return [
      { name: 'sixty visits were booked', happened: this.bookings.size === this.#world.people.length },
      {
        name: 'the desk was warned of a badly timed visit',
        happened: before?.timing.keep === false && before.openings.length > 0,
      },
      { name: 'preparation arrived before its 48 hours began', happened: await this.#preparedInTime() },
      {
        name: 'the visit moved to the opening chosen',
        happened: after !== undefined && after.booking.visit !== before?.booking.visit && after.timing.keep,
      },
      { name: 'the patient was told how to prepare for the new time', happened: after?.booking.preparation === 'told' },
      {
        name: 'STOP ended everything but its confirmation',
        happened: toStopper.length === 1 && reasons(stopper).includes('opted-out'),
      },
      { name: 'the unclear reply reached the call list', happened: reasons(puzzler).includes('unclear-reply') },
    ]
  }

  /** Every preparation text that reached a phone, against the moment its 48 hours began. */
  async #preparedInTime(): Promise<boolean> {
    const { messages } = this.#world.composed.deps.store.read
    const all = await Promise.all(this.#world.pocket.ledger().map(({ messageId }) => messages.get(messageId)))
    const prepared = all.filter((message) => message?.kind === 'prep' && message.state === 'delivered')
    return prepared.length > 0 && prepared.every((message) => message!.endedAt! < message!.notAfter)
  }
}
