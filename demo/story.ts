import { DateTime } from 'luxon'
import { Answering, inCharacter, offersTimes } from './answering.ts'
import type { BookedAnswer } from './desk.ts'
import { atClock } from './diary.ts'
import { phrasesIn } from './phrases.ts'
import { CLINICS, ZONE, workday, type DemoPatient, type StoryPatient } from './scenario.ts'
import type { Transcript } from './transcript.ts'
import { addOpenings, type World } from './world.ts'

/** What must have happened for the story to count as told. */
export interface Ending {
  name: string
  happened: boolean
}

const OPENINGS_DAYS = 50

/**
 * Tells four weeks of the region: bookings, preparation, a period that comes early, a better time, a STOP, a puzzling
 * reply.
 */
export class Story {
  readonly #world: World
  readonly #firstDay: DateTime
  readonly #transcript: Transcript
  readonly #answering: Answering<StoryPatient>
  readonly #cast: { heroine: StoryPatient; stopper: StoryPatient; puzzler: StoryPatient }
  readonly bookings = new Map<string, BookedAnswer>()
  stoppedAt: Date | null = null

  /** @param firstDay midnight of the story's first day, where the clinics are */
  constructor(world: World, firstDay: DateTime, transcript: Transcript) {
    this.#world = world
    this.#firstDay = firstDay
    this.#transcript = transcript
    this.#answering = new Answering(world, world.people, (...heard) => this.#answer(...heard))
    const [heroine, stopper, puzzler] = world.people
    this.#cast = { heroine: heroine!, stopper: stopper!, puzzler: puzzler! }
  }

  /** Everything that will happen as time passes. */
  async plan(): Promise<void> {
    await addOpenings(this.#world, this.#day(1), OPENINGS_DAYS)
    this.#say('desk', `adds openings at ${CLINICS.map(({ name }) => name).join(', ')}`)
    this.#planDesk()
    this.#planHeroine()
  }

  async listen(): Promise<void> {
    const followed = Object.values(this.#cast).map(({ number }) => number)
    this.#transcript.phones(this.#world.pocket, followed)
    await this.#answering.listen()
  }

  #say(who: string, what: string): void {
    this.#transcript.say(this.#world.clock.now(), who, what)
  }

  #day(count: number, clock = '00:00'): DateTime {
    return atClock(this.#firstDay.plus({ days: count }), clock)
  }

  /** The ordinary traffic: each patient is booked by the desk on the patient's day, at a time that is still open. */
  #planDesk(): void {
    for (const [index, person] of this.#world.people.entries()) {
      if (person === this.#cast.heroine) continue
      const clock = `${9 + (index % 8)}:${String((index * 7) % 60).padStart(2, '0')}`
      this.#world.clock.at(workday(this.#day(person.bookedOnDay, clock)).toJSDate(), async () => {
        await this.#book(person, this.#world.diary.next(person.clinic, this.#day(person.visitOnDay)))
      })
    }
  }

  async #book(person: StoryPatient, visit: DateTime): Promise<BookedAnswer> {
    const now = DateTime.fromJSDate(this.#world.clock.now(), { zone: ZONE })
    const cycleDays = now.diff(this.#firstDay, 'days').days
    const since = (person.startsOnCycleDay - 1 + Math.floor(cycleDays)) % person.trueCycleDays
    const booked = await this.#world.desk.book(person, visit, now.minus({ days: since }))
    this.bookings.set(person.name, booked)
    return booked
  }

  /** The patient's visit is set for the day after the next period is expected; nobody at the desk notices. */
  #planHeroine(): void {
    const { heroine } = this.#cast
    Object.assign(heroine, { usualCycleDays: 28, trueCycleDays: 28, answers: 0 })
    // From the diary like every other, and before them: nobody else gets that time.
    const visit = this.#world.diary.next(heroine.clinic, this.#midweek(this.#day(12)))
    heroine.startsOnCycleDay = 1 + 28 - Math.round(visit.startOf('day').diff(this.#firstDay, 'days').days) + 1
    this.#world.clock.at(workday(this.#day(0, '09:12')).toJSDate(), async () => {
      const { booking, timing, openings } = await this.#book(heroine, visit)
      this.#say('desk', `books ${heroine.name} for ${this.#short(booking.visit)}`)
      this.#say('Daysix', `warns the desk. ${timing.reason}`)
      this.#say('Daysix', `better openings: ${openings.map(({ at }) => this.#short(at)).join('; ')}`)
      this.#say('desk', 'is busy and keeps the time; the call list now has it')
    })
    const began = atClock(visit.minus({ days: 2 }), '07:40')
    this.#answering.write(heroine, began, phrasesIn(heroine.language).started)
  }

  /** A Wednesday or Thursday, so that the two days before are working days too. */
  #midweek(day: DateTime): DateTime {
    let found = day
    while (found.weekday < 3 || found.weekday > 4) found = found.plus({ days: 1 })
    return found
  }

  #short(at: string): string {
    return DateTime.fromISO(at, { zone: ZONE }).toFormat('ccc d LLL, HH:mm')
  }

  #answer(person: StoryPatient, text: string, count: number): string | undefined {
    const { heroine, stopper, puzzler } = this.#cast
    if (person === heroine) return offersTimes(text) ? '2' : undefined
    if (person !== stopper && person !== puzzler) return inCharacter(person, text, count)
    if (count > 1) return undefined
    if (person === puzzler) return phrasesIn(person.language).puzzle
    this.stoppedAt = this.#world.clock.now()
    return 'STOP'
  }

  /** Checks against the service's own records and the telephone network's ledger. */
  async endings(): Promise<Ending[]> {
    const { heroine, stopper, puzzler } = this.#cast
    const { deps } = this.#world.composed
    const before = this.bookings.get(heroine.name)
    const after =
      before &&
      (await this.#world.desk.get<{ booking: { visit: string; preparation: string }; timing: { keep: boolean } }>(
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
