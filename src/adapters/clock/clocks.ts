import type { Clock } from '../../flows/ports/deps.ts'

export const systemClock: Clock = { now: () => new Date() }

/** Something that will happen at a virtual moment. */
interface Appointment {
  at: number
  order: number
  work: () => Promise<void>
}

/**
 * A clock that stands still until it is moved. Work that was put off happens in order of its time, each at exactly
 * that time, so that a story told on it is the same every time.
 */
export class VirtualClock implements Clock {
  #now: number
  #order = 0
  #appointments: Appointment[] = []

  constructor(start: Date) {
    this.#now = start.getTime()
  }

  now(): Date {
    return new Date(this.#now)
  }

  /** Does `work` at that moment, or at the next move of the clock if it has passed. */
  at(moment: Date, work: () => Promise<void>): void {
    this.#appointments.push({ at: moment.getTime(), order: this.#order++, work })
  }

  after(ms: number, work: () => Promise<void>): void {
    this.at(new Date(this.#now + ms), work)
  }

  /** Moves on to `moment`, letting everything on the way happen. Work may put off more work. */
  async moveTo(moment: Date): Promise<void> {
    for (let next = this.#next(moment.getTime()); next; next = this.#next(moment.getTime())) {
      this.#now = Math.max(this.#now, next.at)
      await next.work()
    }
    this.#now = Math.max(this.#now, moment.getTime())
  }

  #next(until: number): Appointment | undefined {
    let best: Appointment | undefined
    for (const each of this.#appointments) {
      if (each.at > until) continue
      if (!best || each.at < best.at || (each.at === best.at && each.order < best.order)) best = each
    }
    if (best) this.#appointments = this.#appointments.filter((each) => each !== best)
    return best
  }
}
