import type { DateTime } from 'luxon'
import { Answering, inCharacter } from './answering.ts'
import { atClock } from './diary.ts'
import { workday, type DemoPatient } from './scenario.ts'
import { addOpenings, type World } from './world.ts'

export const HISTORY_DAYS = 90
const AHEAD_DAYS = 30
/** The first of the neighbours have a part in this morning. */
const CAST = 5
const TODAY = 12
const BEFORE = 43
const TODAYS_CLOCKS = [
  '09:00',
  '09:20',
  '09:40',
  '10:00',
  '10:20',
  '10:40',
  '11:00',
  '11:20',
  '11:40',
  '13:00',
  '13:20',
  '14:20',
]

interface FollowUps {
  followUps: { id: string; reason: string }[]
}

/** What goes on at the clinics besides the story: visits of three months, today's full list, and the month to come. */
export class Traffic {
  readonly #world: World
  readonly #morning: DateTime
  readonly #answering: Answering<DemoPatient>

  constructor(world: World, morning: DateTime) {
    this.#world = world
    this.#morning = morning
    this.#answering = new Answering(world, world.neighbours.slice(CAST), inCharacter)
  }

  listen(): Promise<void> {
    return this.#answering.listen()
  }

  async plan(): Promise<void> {
    await addOpenings(this.#world, this.#morning.plus({ days: 1 - HISTORY_DAYS }), 60)
    await addOpenings(this.#world, this.#morning.plus({ days: 61 - HISTORY_DAYS }), 80)
    const others = this.#world.neighbours.slice(CAST)
    const today = others.slice(0, TODAY)
    today.forEach((person, index) => {
      person.clinic = 'tidewrack'
      this.#visit(person, this.#world.diary.take(person.clinic, atClock(this.#morning, TODAYS_CLOCKS[index]!)))
    })
    others.slice(TODAY, TODAY + BEFORE).forEach((person, index) => {
      this.#visit(person, this.#free(person, 16 - HISTORY_DAYS + Math.round(index * 1.7)))
    })
    others.slice(TODAY + BEFORE).forEach((person, index, all) => {
      this.#visit(person, this.#free(person, 1 + Math.floor((index * AHEAD_DAYS) / all.length)))
    })
    for (let days = 1 - HISTORY_DAYS; days <= AHEAD_DAYS; days++) this.#callAll(this.#morning.plus({ days }))
  }

  #free({ clinic }: DemoPatient, days: number): DateTime {
    return this.#world.diary.next(clinic, this.#morning.plus({ days }))
  }

  /** Booked some two weeks before, mostly for a good day of the cycle; afterwards the desk records how it ended. */
  #visit(person: DemoPatient, visit: DateTime): void {
    const { clock, desk, random } = this.#world
    const booked = atClock(
      workday(visit.minus({ days: 9 + Math.floor(random() * 8) })),
      `1${Math.floor(random() * 5)}:05`,
    )
    const wanted = random() < 0.8 ? 8 + Math.floor(random() * 12) : 1 + Math.floor(random() * 27)
    const until = Math.round(visit.startOf('day').diff(booked.startOf('day'), 'days').days)
    const cycleDay = ((((wanted - until - 1) % 28) + 28) % 28) + 1
    const chance = random()
    clock.at(booked.toJSDate(), async () => {
      const { booking } = await desk.book(person, visit, booked.minus({ days: cycleDay - 1 }))
      clock.at(visit.plus({ hours: 1 }).toJSDate(), () => this.#end(booking.id, chance))
    })
  }

  /** A visit that was moved meanwhile ends another day, and nobody here writes it down. */
  async #end(id: string, chance: number): Promise<void> {
    const kind = chance < 0.88 ? 'collected' : chance < 0.94 ? 'not-collected' : 'absent'
    const because = kind === 'not-collected' ? 'unprepared' : null
    await this.#world.desk.post(`/bookings/${id}/outcome`, { kind, because, by: 'desk' }).catch(() => {})
  }

  /** In the afternoon of a working day the desk has called everybody on its list. */
  #callAll(day: DateTime): void {
    if (day.weekday > 5) return
    const { clock, desk } = this.#world
    clock.at(atClock(day, '16:30').toJSDate(), async () => {
      const { followUps } = await desk.get<FollowUps>('/follow-ups?state=open&limit=200')
      for (const { id } of followUps)
        await desk.post(`/follow-ups/${id}/close`, { by: 'desk', outcome: 'Called, and agreed.' })
    })
  }
}
