import { DateTime } from 'luxon'
import { phrasesIn } from './phrases.ts'
import { ZONE, type DemoPatient } from './scenario.ts'
import type { World } from './world.ts'

const SOON_MINUTES = 20

/** What somebody writes back to a text, or nothing. @param count texts on her phone so far */
export type Answer<Person> = (person: Person, text: string, count: number) => string | undefined

export const offersTimes = (text: string) => /\b1: [\s\S]*\b2: /.test(text)

/** As most do: one in three never writes, some confirm, most take the first time that suits. */
export function inCharacter({ answers, language }: DemoPatient, text: string, count: number): string | undefined {
  if (answers < 0.35) return undefined
  if (offersTimes(text)) return '1'
  return answers > 0.75 && count === 1 ? phrasesIn(language).yes : undefined
}

/** Patients look at their phones: some answer, each in the patient's way. */
export class Answering<Person extends DemoPatient> {
  readonly #world: World
  readonly #people: readonly Person[]
  readonly #answer: Answer<Person>
  readonly #heard = new Map<string, number>()

  constructor(world: World, people: readonly Person[], answer: Answer<Person>) {
    this.#world = world
    this.#people = people
    this.#answer = answer
  }

  async listen(): Promise<void> {
    const { pocket, clock, played } = this.#world
    const soon = DateTime.fromJSDate(clock.now(), { zone: ZONE }).plus({ minutes: SOON_MINUTES })
    for (const person of this.#people) {
      const { texts } = pocket.phone(person.number)
      const fresh = texts.slice(this.#heard.get(person.number) ?? 0)
      this.#heard.set(person.number, texts.length)
      for (const { direction, text } of played.has(person.number) ? [] : fresh) {
        const said = direction === 'to-patient' ? this.#answer(person, text, texts.length) : undefined
        if (said !== undefined) this.write(person, soon, said)
      }
    }
  }

  write(person: DemoPatient, at: DateTime, text: string): void {
    this.#world.clock.at(at.toJSDate(), async () => {
      await this.#world.pocket.reply(person.number, text)
    })
  }
}
