import type { CheckLine } from '../../domain/schedule/check-line.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { needsOfVisits } from '../../domain/schedule/needs.ts'
import { keyOf, type ScheduleNews } from '../../domain/schedule/schedule-news.ts'
import type { Tx } from '../ports/deps.ts'
import type { Identified, ResourceVersion } from '../ports/schedule.ts'

/** A resource as it was sent: by which address, and on which condition it is to be taken. */
export interface Addressed {
  /** Its address with this sender, e.g. `Appointment/a1`. */
  resource: string
  /** To be taken only where this is its version; null = whatever it is. */
  ifMatch: number | null
  /** To be taken only where no appointment with this number is known; null = in any case. */
  unlessKnown: Identified | null
  /** Of an appointment. */
  identifiers: readonly Identified[]
}

/** How a resource stands once it was taken, or why it was not. */
export type Standing =
  | { taken: ResourceVersion }
  /** Somebody else has changed it. */
  | { unmet: 'stale' }
  | { unmet: 'known'; is: ResourceVersion | null }
  | { unmet: 'several' }

/** A condition of what is taken wholly or not at all: nothing of it was kept. */
export class Unmet extends Error {
  readonly n: number
  readonly standing: Standing

  constructor(n: number, standing: Standing) {
    super('a condition does not hold')
    this.n = n
    this.standing = standing
  }
}

/** How often each resource was told. Looked at and counted with the feed locked, in the transaction that takes it. */
export class Versions {
  /** By number of what was read, from 1. */
  readonly standing = new Map<number, Standing>()
  readonly isWhole: boolean
  readonly #addressed: ReadonlyMap<number, Addressed>

  /** @param isWhole all of it is taken, or nothing */
  constructor(addressed: ReadonlyMap<number, Addressed>, isWhole: boolean) {
    this.#addressed = addressed
    this.isWhole = isWhole
  }

  /** Whether it may be taken. @throws Unmet where nothing else may be taken then */
  async lets(tx: Tx, feed: Feed, n: number): Promise<boolean> {
    // Tried again, it may come to something else.
    this.standing.delete(n)
    const one = this.#addressed.get(n)
    const unmet = one && (await this.#unmet(tx, feed, one))
    if (!unmet) return true
    if (this.isWhole && !('is' in unmet)) throw new Unmet(n, unmet)
    this.standing.set(n, unmet)
    return false
  }

  /** Of the rest of what one resource says. */
  stillLets(n: number): boolean {
    const standing = this.standing.get(n)
    return standing === undefined || 'taken' in standing
  }

  /** Counts one more, where all of it was taken. */
  async count(tx: Tx, feed: Feed, n: number, told: { news: ScheduleNews | null; at: Date }): Promise<void> {
    const one = this.#addressed.get(n)
    if (!one) return
    const before = (await tx.feeds.resources(feed.name, [one.resource])).get(one.resource)
    const taken = { resource: one.resource, version: (before?.version ?? 0) + 1, at: told.at }
    const key = told.news?.key ? keyOf(told.news.key) : null
    await tx.feeds.keepResource(feed.name, taken, { key, identifiers: one.identifiers })
    this.standing.set(n, { taken })
  }

  async #unmet(tx: Tx, feed: Feed, { resource, ifMatch, unlessKnown }: Addressed): Promise<Standing | undefined> {
    if (ifMatch !== null) {
      const is = (await tx.feeds.resources(feed.name, [resource])).get(resource)
      if (is?.version !== ifMatch) return { unmet: 'stale' }
    }
    if (unlessKnown === null) return undefined
    const found = await tx.feeds.identified(feed.name, unlessKnown)
    if (found.length > 1) return { unmet: 'several' }
    if (found[0]) return { unmet: 'known', is: found[0] }
    const isKey = unlessKnown.system === feed.keySystem
    return isKey && (await isTold(tx, feed, unlessKnown)) ? { unmet: 'known', is: null } : undefined
  }
}

/** Whether the schedule told of this appointment in another way, such as by HL7 v2. */
async function isTold(tx: Tx, feed: Feed, { system, value }: Identified): Promise<boolean> {
  const key = keyOf({ id: value, namespace: system, occurrence: '' })
  // Locked already, by whoever takes the news.
  const { known } = await tx.feeds.look(feed.name, needsOfVisits([key]))
  return known.visits.has(key)
}

/** What is said of one that was not taken; no fault of the schedule's. */
export function unmetLine(n: number, standing: Standing | undefined): CheckLine {
  const isKnown = standing !== undefined && 'unmet' in standing && standing.unmet === 'known'
  if (isKnown) return { n, does: 'nothing', why: 'An appointment with this number is known already.', ack: 'AA' }
  return { n, does: 'refuse', why: 'What was asked of what is known here does not hold.', ack: 'AE' }
}
