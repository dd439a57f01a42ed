import type { Fleet, Member, Stores } from './fleet.ts'
import type { Acceptance, Ledger } from './ledger.ts'
import { sleep, type People } from './people.ts'
import type { Chance } from './random.ts'

const TICK_MS = 350
const STEP_MS = 10 * 60_000
const HOUR = 3_600_000
/** Monday, ten in the morning where the clinic is. */
const START = Date.UTC(2026, 2, 9, 13)
/** Differences between the machines' clocks that are no fault. */
const SKEW_MS = 60_000

/** One run: time that goes by quickly, people who use the service, and faults in between. The seed decides all of it. */
export class Run {
  fleet!: Fleet
  offset = START - Date.now()
  readonly faults = new Map<string, number>()
  /** Messages that a fault may have left in doubt. */
  readonly inDoubt = new Set<string>()
  readonly #ledger: Ledger
  readonly #chance: Chance
  /** Moments at which the clock was moved, with what it said before. */
  readonly #steps: { real: number; before: number }[] = []
  #healing = 0
  #quiet = false

  constructor(ledger: Ledger, chance: Chance) {
    this.#ledger = ledger
    this.#chance = chance
    ledger.fateOf = (id) => this.#fate(id)
  }

  now(): Date {
    return new Date(Date.now() + this.offset)
  }

  /** The earliest time it can have been for a service that handed this over: its clock may not have been moved yet, and differ a little. */
  earliest({ at }: Acceptance): Date {
    const real = this.#realOf(at)
    const step = this.#steps.find((each) => real >= each.real && real < each.real + 3_000)
    return new Date((step ? step.before + real - step.real : at.getTime()) - SKEW_MS)
  }

  #realOf(at: Date): number {
    return this.#reals.get(at.getTime()) ?? at.getTime() - this.offset
  }

  readonly #reals = new Map<number, number>()

  #fate(id: string): ReturnType<Ledger['fateOf']> {
    this.#reals.set(this.now().getTime(), Date.now())
    if (this.#quiet) return {}
    if (this.#chance.happens(0.03)) {
      this.#count('connections dropped at the network')
      this.inDoubt.add(id)
      return { breaks: this.#chance.one(['before', 'after'] as const) }
    }
    if (this.#chance.happens(0.03)) return { refused: true }
    return { answerAfter: this.#chance.between(0, this.#chance.happens(0.1) ? 1_500 : 150) }
  }

  async hurt(people: People, { kills, bookings, stores }: { kills: number; bookings: number; stores: Stores }): Promise<void> {
    let asked = 0
    let killed = 0
    while (asked < bookings || killed < kills) {
      if (asked < bookings && this.#chance.happens(0.5)) {
        people.book()
        asked++
      }
      if (this.#chance.happens(0.1)) people.addOpenings()
      if (killed < kills && this.#chance.happens(0.12)) {
        killed++
        this.#kill()
      }
      if (stores !== 'embedded' && this.#chance.happens(0.02)) this.#hurtStores(stores)
      if (this.#chance.happens(0.01)) await this.#jump()
      if (this.#chance.happens(0.02)) this.#skew()
      await this.#tick()
      if ((asked + killed) % 25 === 0) process.stderr.write('.')
    }
  }

  /** No more faults; time goes on until every plan has come to its end. */
  async calmDown(people: People): Promise<void> {
    while (this.#healing > 0) await sleep(200)
    this.#quiet = true
    await people.settled()
    for (const member of this.fleet.members) {
      member.skewMs = 0
      if (!member.process.runs) member.process.start()
    }
    await this.#passing(6 * 24 * HOUR)
    await people.settled()
    // Silence of the last worker that was killed, and a sweep after it.
    await sleep(40_000)
    await this.#passing(2 * HOUR)
    await sleep(5_000)
  }

  async #passing(ms: number): Promise<void> {
    const until = this.now().getTime() + ms
    while (this.now().getTime() < until) await this.#tick(2 * STEP_MS, 250)
  }

  /** A step of time, unless something is broken: an outage of seconds must not be one of days. */
  async #tick(step = STEP_MS, pause = TICK_MS): Promise<void> {
    await sleep(pause)
    if (this.#healing > 0 || !this.fleet.workersRun) return
    this.#move(step)
  }

  #move(step: number): void {
    this.#steps.push({ real: Date.now(), before: this.now().getTime() })
    if (this.#steps.length > 20_000) this.#steps.shift()
    this.offset += step
    this.fleet.setClock(this.offset)
  }

  #count(fault: string): void {
    this.faults.set(fault, (this.faults.get(fault) ?? 0) + 1)
  }

  #doubt(): void {
    for (const id of this.#ledger.inDoubt()) this.inDoubt.add(id)
  }

  #kill(): void {
    const member = this.#chance.one(this.fleet.members)
    if (!member.process.runs) return
    this.#count(`kill -9 of a ${member.name.split('-')[0]}`)
    this.#heal(this.#chance.between(100, 2_000), () => this.#killed(member))
  }

  async #killed(member: Member): Promise<() => Promise<void>> {
    this.#doubt()
    await member.process.kill()
    this.#doubt()
    return async () => member.process.start()
  }

  #hurtStores(stores: Stores): void {
    const kinds = stores === 'redis' ? ['crash-postgres', 'crash-redis', 'wipe-redis'] : ['crash-postgres']
    const kind = this.#chance.one(kinds)
    this.#count(kind)
    this.#heal(this.#chance.between(300, 3_000), async () => {
      this.#doubt()
      await this.fleet.services(kind)
      this.#doubt()
      return async () => void (kind === 'wipe-redis' || (await this.fleet.services('start')))
    })
  }

  async #jump(): Promise<void> {
    this.#count('clock jumps')
    this.#doubt()
    this.#move(this.#chance.between(1, 5) * HOUR)
  }

  #skew(): void {
    this.#count('clocks set differently')
    this.#chance.one(this.fleet.members).skewMs = this.#chance.between(-SKEW_MS, SKEW_MS)
  }

  /** Breaks something, and mends it after a while. */
  #heal(afterMs: number, breaking: () => Promise<() => Promise<void>>): void {
    this.#healing++
    const doing = async () => {
      const mend = await breaking()
      await sleep(afterMs)
      await mend()
    }
    void doing()
      .catch((error: Error) => console.error(`\na fault could not be made: ${error.message}`))
      .finally(() => this.#healing--)
  }
}
