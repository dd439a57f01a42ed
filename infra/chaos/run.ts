import { Doubts } from './doubts.ts'
import type { Fleet, Member, Stores } from './fleet.ts'
import type { Acceptance, Ledger } from './ledger.ts'
import { sleep, type People } from './people.ts'
import type { Chance } from './random.ts'
import { TimeLine } from './time-line.ts'

const TICK_MS = 350
const STEP_MS = 10 * 60_000
const HOUR = 3_600_000
/** Monday, ten in the morning where the clinic is. */
const START = Date.UTC(2026, 2, 9, 13)
/** Differences between the machines' clocks that are no fault. */
const SKEW_MS = 60_000
/**
 * The clock of a process is moved over a channel that may be slow, and what was decided by the old time is still being
 * done.
 */
const LAG_MS = 3_000
/** Nothing takes longer from the moment a message is claimed until the network has it. */
const MOST_LAG_MS = 20_000
/** After this much silence the claims of a worker are taken over, and then within a sweep or two. */
const SILENCE_MS = 38_000
/** Alarms are set an hour before (HORIZON_HOURS): a message further ahead than that has none yet. */
const BEYOND_HORIZON_MS = 65 * 60_000
/** Time is let go by as on any clock from so long before a message is due, for so long: its alarm is set, and rings. */
const LEAD_MS = 3_500
const ON_TIME_MS = 7_000
/** Such whiles once nothing is broken any more. */
const CALM_WHILES = 2
/** Bytes left on a disk that is filled: with some there is room for a table, but none for a new piece of the log. */
const LEFT = [0, 0, 200_000]

export interface Hurts {
  kills: number
  bookings: number
  stores: Stores
}

/** One run: time that goes by quickly, people who use the service, and faults in between, chosen by the seed. */
export class Run {
  fleet!: Fleet
  readonly faults = new Map<string, number>()
  readonly doubts = new Doubts()
  readonly time = new TimeLine(START)
  readonly #ledger: Ledger
  readonly #chance: Chance
  #healing = 0
  /** One thing at a time is done to the stores. */
  #storesHurt = false
  #quiet = false
  #onTimeUntil = 0
  #lastKill = 0

  constructor(ledger: Ledger, chance: Chance) {
    this.#ledger = ledger
    this.#chance = chance
    ledger.fateOf = () => this.#fate()
  }

  now(): Date {
    return this.time.now()
  }

  /** The earliest times it can have been for a service that handed this over: usually, and if it was slow. */
  bounds({ real }: Acceptance): { earliest: Date; floor: Date } {
    const before = (lag: number) => new Date(this.time.earliestAt(real, lag).getTime() - SKEW_MS)
    return { earliest: before(LAG_MS), floor: before(MOST_LAG_MS) }
  }

  #fate(): ReturnType<Ledger['fateOf']> {
    if (this.#quiet) return {}
    if (this.#chance.happens(0.03)) {
      this.#count('connections dropped at the network')
      return { breaks: this.#chance.one(['before', 'after'] as const) }
    }
    if (this.#chance.happens(0.03)) return { refused: true }
    return { answerAfter: this.#chance.between(0, this.#chance.happens(0.1) ? 1_500 : 150) }
  }

  async hurt(people: People, { kills, bookings, stores }: Hurts): Promise<void> {
    let asked = 0
    let killed = 0
    // Each of these happens at least once, in the middle, and more often by chance.
    const once = new Map([
      [Math.floor(bookings / 3), () => this.#timely(people)],
      [Math.floor(bookings / 2), async () => this.#fillDisk(true)],
      [Math.floor((2 * bookings) / 3), async () => this.#stopPolitely()],
    ])
    while (asked < bookings || killed < kills) {
      if (asked < bookings && this.#chance.happens(0.5)) {
        people.book()
        asked++
      }
      if (this.#chance.happens(0.1)) people.addOpenings()
      if (killed < kills && this.#chance.happens(0.12) && (await this.#kill())) killed++
      if (once.has(asked)) await this.#whole()
      await once.get(asked)?.()
      once.delete(asked)
      await this.#otherwise(people, stores)
      await this.#tick()
      if ((asked + killed) % 25 === 0) process.stderr.write('.')
    }
  }

  /** Waits until nothing is broken, so that what comes next has its effect. */
  async #whole(): Promise<void> {
    while (this.#healing > 0) await sleep(100)
    await this.fleet.comeBack()
  }

  async #otherwise(people: People, stores: Stores): Promise<void> {
    if (stores !== 'embedded' && this.#chance.happens(0.02)) this.#hurtStores(stores)
    if (this.#chance.happens(0.01)) this.#jump()
    if (this.#chance.happens(0.02)) this.#skew()
    if (this.#chance.happens(0.01)) this.#fillDisk()
    if (this.#chance.happens(0.03)) await this.#timely(people)
    if (this.#chance.happens(0.02)) this.#stopPolitely()
  }

  /** No more faults; time goes on until every plan has come to its end, or for so many days. */
  async calmDown(people: People, days: number): Promise<void> {
    await this.#whole()
    this.#quiet = true
    await people.settled()
    for (const member of this.fleet.members) {
      member.skewMs = 0
      if (!member.process.runs) member.process.start()
    }
    for (let n = 0; n < CALM_WHILES; n++) {
      await this.#timely(people)
      await this.#passing(HOUR)
    }
    await this.#passing(days * 24 * HOUR)
    await people.settled()
    // On the embedded store whoever is started takes over at once.
    if (this.fleet.databaseUrl) await sleep(Math.max(0, this.#lastKill + SILENCE_MS - Date.now()))
    await this.#passing(2 * HOUR)
    await this.fleet.atRest()
  }

  async #passing(ms: number): Promise<void> {
    const until = this.now().getTime() + ms
    while (this.now().getTime() < until) await this.#tick(2 * STEP_MS, 250)
  }

  /**
   * A step of time, unless something is broken (an outage of seconds must not be one of days), or a while goes by on
   * time.
   */
  async #tick(step = STEP_MS, pause = TICK_MS): Promise<void> {
    await sleep(pause)
    if (this.#healing > 0 || Date.now() < this.#onTimeUntil || !this.fleet.workersRun) return
    this.#move(step)
  }

  #move(step: number): void {
    this.fleet.setClock(this.time.move(step))
  }

  #count(fault: string): void {
    this.faults.set(fault, (this.faults.get(fault) ?? 0) + 1)
  }

  /** Half of them just when the network is being handed a message. */
  async #kill(): Promise<boolean> {
    const aimed = this.#chance.happens(0.5)
    const member = this.#chance.one(aimed ? this.fleet.senders : this.fleet.members)
    const afterMs = this.#chance.between(100, 2_000)
    if (aimed) await this.#ledger.somethingOpen(3_000)
    if (!member.process.runs) return false
    this.#count(`kill -9 of a ${member.name.split('-')[0]}`)
    this.#heal(afterMs, () => this.#killed(member))
    return true
  }

  async #killed(member: Member): Promise<() => Promise<void>> {
    await member.process.kill()
    this.#lastKill = Date.now()
    if (this.fleet.databaseUrl) this.doubts.claims(await untilAnswered(() => this.fleet.claimsLeft()))
    return async () => member.process.start()
  }

  /** As by a deploy: told to stop, and started again. It leaves nothing in doubt, so nothing is noted as that. */
  #stopPolitely(): void {
    const member = this.#chance.one(this.fleet.members)
    if (!member.process.runs) return
    this.#count(`orderly stops of a ${member.name.split('-')[0]}`)
    this.#heal(0, async () => {
      await member.process.stop()
      return async () => member.process.start()
    })
  }

  #hurtStores(stores: Stores): void {
    const kinds = stores === 'redis' ? ['crash-postgres', 'crash-redis', 'wipe-redis'] : ['crash-postgres']
    const [kind, afterMs] = [this.#chance.one(kinds), this.#chance.between(300, 3_000)]
    if (this.#storesHurt) return
    this.#storesHurt = true
    this.#count(kind)
    this.#heal(afterMs, async () => {
      await this.fleet.services(kind)
      return async () => {
        if (kind !== 'wipe-redis') await this.fleet.services('start')
        this.#storesHurt = false
      }
    })
  }

  /** No room for what is to be written, for a while. @param turns the database's log needs a new file just then. */
  #fillDisk(turns = this.#chance.happens(0.3)): void {
    const { room } = this.fleet
    const [leave, afterMs] = [this.#chance.one(LEFT), this.#chance.between(2_000, 5_000)]
    if (!room || this.#storesHurt) return
    this.#storesHurt = true
    this.#count('disk filled')
    this.#heal(afterMs, async () => {
      await room.fill(leave)
      if (turns) await this.fleet.turnLog()
      return async () => {
        await room.empty()
        this.#lastKill = Date.now()
        await this.fleet.comeBack()
        this.#storesHurt = false
      }
    })
  }

  #jump(): void {
    this.#count('clock jumps')
    this.#move(this.#chance.between(1, 5) * HOUR)
  }

  /**
   * Time stands just before a message is due, and then goes by as on any clock, so that the queue itself rings for it.
   */
  async #timely(people: People): Promise<void> {
    if (this.#healing > 0 || Date.now() < this.#onTimeUntil) return
    const due = await people.nextDue(BEYOND_HORIZON_MS)
    if (!due) return
    this.#count('whiles on time')
    this.#onTimeUntil = Date.now() + ON_TIME_MS
    this.#move(Math.max(0, due.getTime() - LEAD_MS - this.now().getTime()))
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

/** The database may be away at this moment; what is asked about does not change meanwhile. */
async function untilAnswered<T>(ask: () => Promise<T>): Promise<T> {
  for (;;) {
    try {
      return await ask()
    } catch {
      await sleep(100)
    }
  }
}
