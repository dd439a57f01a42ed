import type { DateTime } from 'luxon'
import { atClock } from './diary.ts'
import { phrasesIn } from './phrases.ts'
import type { DemoPatient } from './scenario.ts'
import type { World } from './world.ts'

/** Whose part is which among the neighbours. */
export const CAST = { alarmed: 0, offered: 1, moving: 2, puzzled: 3, unsure: 4 } as const
type Part = keyof typeof CAST

/** What has come in by the time the desk sits down: an alarm, an open offer, a move to approve, words to read. */
export class Morning {
  readonly #world: World
  readonly #morning: DateTime

  constructor(world: World, morning: DateTime) {
    this.#world = world
    this.#morning = morning
  }

  plan(): void {
    this.#visit('alarmed', 'tidewrack', 6, 8)
    this.#visit('offered', 'tidewrack', 2, 25)
    this.#visit('moving', 'gullholm', 3, 11)
    this.#visit('puzzled', 'tidewrack', 4, 10)
    this.#visit('unsure', 'tidewrack', 5, 12)
    this.#write('moving', '08:10', (phrases) => phrases.cannotCome)
    this.#write('moving', '08:35', () => '1')
    this.#write('alarmed', '08:50', (phrases) => phrases.alarm)
    this.#write('offered', '09:05', (phrases) => phrases.started)
    this.#write('puzzled', '09:20', (phrases) => phrases.puzzle)
    this.#write('unsure', '09:30', (phrases) => phrases.unsure)
  }

  #person(part: Part): DemoPatient {
    return this.#world.neighbours[CAST[part]]!
  }

  /** @param cycleDay this morning, as told when the visit was booked, some days ago */
  #visit(part: Part, clinic: string, inDays: number, cycleDay: number): void {
    const { clock, desk, diary } = this.#world
    const person = this.#person(part)
    Object.assign(person, { clinic, usualCycleDays: 28 })
    const booked = atClock(this.#morning.minus({ days: 7 }), '11:30')
    clock.at(booked.toJSDate(), async () => {
      const visit = diary.next(clinic, this.#morning.plus({ days: inDays }))
      await desk.book(person, visit, this.#morning.minus({ days: cycleDay - 1 }))
    })
  }

  #write(part: Part, at: string, said: (phrases: ReturnType<typeof phrasesIn>) => string): void {
    const { clock, pocket } = this.#world
    const { number, language } = this.#person(part)
    clock.at(atClock(this.#morning, at).toJSDate(), async () => {
      await pocket.reply(number, said(phrasesIn(language)))
    })
  }
}
