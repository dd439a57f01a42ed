import { DateTime } from 'luxon'
import type { PocketGateway } from '../src/adapters/gateways/pocket/pocket-gateway.ts'
import { ZONE } from './scenario.ts'

/** Writes the story down as it happens: one line each, in order of time. */
export class Transcript {
  readonly #write: (line: string) => void
  readonly #nameOf: (number: string) => string
  readonly #told = new Map<string, number>()
  #day = ''

  constructor(write: (line: string) => void, nameOf: (number: string) => string) {
    this.#write = write
    this.#nameOf = nameOf
  }

  say(at: Date, who: string, what: string): void {
    const local = DateTime.fromJSDate(at, { zone: ZONE })
    const day = local.toFormat('cccc d LLLL yyyy')
    if (day !== this.#day) this.#write(`\n${day}`)
    this.#day = day
    this.#write(`  ${local.toFormat('HH:mm')}  ${who}: ${what}`)
  }

  /** What came and went on the phones that the story follows. */
  phones(pocket: PocketGateway, numbers: readonly string[]): void {
    const fresh = numbers.flatMap((number) => {
      const { texts } = pocket.phone(number)
      const told = this.#told.get(number) ?? 0
      this.#told.set(number, texts.length)
      return texts.slice(told).map((text) => ({ ...text, number }))
    })
    fresh.sort((a, b) => a.at.getTime() - b.at.getTime())
    for (const { at, direction, text, number } of fresh) {
      const name = this.#nameOf(number)
      this.say(at, direction === 'to-patient' ? `text to ${name}` : name, `"${text}"`)
    }
  }
}
