import type { Failure } from '../../domain/failure.ts'
import type { Feed, Refusal } from '../../domain/schedule/feed.ts'
import type { OurVisit } from '../../domain/schedule/our-visit.ts'
import type { Outcome } from '../../domain/schedule/outcome.ts'
import { reconcile, reconsider } from '../../domain/schedule/reconcile.ts'
import { remember, type Kept } from '../../domain/schedule/known.ts'
import { keyOf, type ScheduleNews } from '../../domain/schedule/schedule-news.ts'
import type { SendJob } from '../ports/jobs.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { Changed, FeedFault, KnownHere } from '../ports/schedule.ts'
import { enqueueJobs } from '../messages/enqueue-due.ts'
import { carryOut, whyNot } from './carry-out.ts'
import { changeTimes } from './change-times.ts'
import { closeHeld, isSaid, openHeld } from './held-news.ts'
import { joinPatients } from './join-patients.ts'

/** What is done once the transaction is committed. */
export interface Taken {
  jobs: SendJob[]
  /** Bookings that changed → what is told of them. */
  bookings: Map<string, string>
  faults: FeedFault[]
}

/** What is due rings, and live pages hear of it. */
export async function followTaken(deps: Deps, { jobs, bookings }: Taken): Promise<void> {
  await enqueueJobs(deps, jobs)
  for (const [id, what] of bookings) deps.notice(what, { booking: id })
}

/** News of one feed, taken one after the other in one transaction. */
export class Taking {
  readonly changed: Changed = {
    ...{ visits: new Set(), patients: new Set(), aliases: new Set(), seriesEnds: new Set(), seen: new Set() },
  }
  readonly taken: Taken = { jobs: [], bookings: new Map(), faults: [] }
  readonly here: KnownHere
  readonly #tx: Tx
  readonly #deps: Deps
  readonly #feed: Feed
  #isAgain = false

  constructor(tx: Tx, deps: Deps, feed: Feed, here: KnownHere) {
    this.#tx = tx
    this.#deps = deps
    this.#feed = feed
    this.here = here
  }

  /**
   * @param failed what stood in the way when this was tried before: now a person is told, and nothing else is done
   * @throws Failure where what follows cannot be done here
   */
  async take(news: ScheduleNews, failed?: Failure): Promise<Outcome> {
    const key = news.key ? keyOf(news.key) : null
    if (key !== null && this.here.erased.has(key))
      return { does: 'nothing', visit: null, why: 'The patient wanted nothing kept of this visit.' }
    const { outcome, kept } = reconcile(this.here.known, news, this.#feed, this.#deps.clock.now())
    return this.#settle(key, outcome, kept, failed)
  }

  /**
   * Tries a visit that waits, of which nothing new was told. Where it must wait on, nobody is called again for the
   * same.
   * @param failed as with `take`
   * @throws Failure where what follows cannot be done here
   */
  async again(key: string, failed?: Failure): Promise<Outcome> {
    this.here.refused.delete(key)
    this.changed.visits.add(key)
    const { outcome, kept } = reconsider(this.here.known, key, this.#feed, this.#deps.clock.now())
    const isDone = outcome.does !== 'hold' && !failed
    this.#isAgain = !isDone
    const settled = await this.#settle(key, outcome, kept, failed)
    this.#isAgain = false
    if (isDone) await closeHeld(this.#tx, this.#deps, this.here, key)
    return settled
  }

  refuse({ at, why }: Refusal): void {
    this.#fault('refuse', '', at === '' ? why : `${at}: ${why}`, null)
  }

  async #settle(key: string | null, outcome: Outcome, kept: Kept, failed?: Failure): Promise<Outcome> {
    const { known } = this.here
    const changes = kept.applied.map(([each, is]) => ({ key: each, is, was: known.applied.get(each) }))
    const waits = changes.some(({ key: each, is }) => is && isSameVisit(this.here.refused.get(each), is))
    if (waits || failed) {
      this.#keep({ ...kept, applied: [] })
      if (waits) return { does: 'nothing', visit: null, why: 'Waits for a person already.' }
      for (const { key: each, is } of changes) if (is) this.here.refused.set(each, is)
      return this.#hold(key, { does: 'hold', visit: changes[0]?.is ?? null, why: whyNot(failed), ack: 'AA' })
    }
    if (outcome.does === 'times') await changeTimes(this.#tx, this.#deps, this.#feed, outcome, this.here)
    if (outcome.does === 'merge') await joinPatients(this.#tx, this.#deps, this.#feed, this.here, kept)
    for (const { key: each, is, was } of changes) await this.#change(each, was, is, outcome.does === 'no-show')
    this.#keep(kept)
    if (outcome.does === 'hold') return this.#hold(key, outcome)
    if (key !== null && changes.length > 0) await closeHeld(this.#tx, this.#deps, this.here, key)
    return outcome
  }

  async #change(key: string, was: OurVisit | undefined, is: OurVisit | null, didNotCome: boolean): Promise<void> {
    const before = this.here.bookings.get(key)
    const done = await carryOut(this.#tx, this.#deps, this.#feed, { was, is, bookingId: before, didNotCome })
    const { bookingId, jobs } = done
    if (bookingId === undefined) this.here.bookings.delete(key)
    else this.here.bookings.set(key, bookingId)
    this.here.refused.delete(key)
    this.taken.jobs.push(...jobs)
    if (before !== undefined && before !== bookingId) this.taken.bookings.set(before, 'cancelled')
    if (bookingId !== undefined) this.taken.bookings.set(bookingId, before === bookingId ? 'amended' : 'booked')
  }

  #keep(kept: Kept): void {
    const { changed } = this
    remember(this.here.known, kept)
    for (const [key] of [...kept.visits, ...kept.applied]) changed.visits.add(key)
    for (const [id] of kept.patients) changed.patients.add(id)
    for (const [from] of kept.aliases) changed.aliases.add(from)
    for (const [series] of kept.seriesEnds) changed.seriesEnds.add(series)
    for (const seen of kept.seen) changed.seen.add(seen)
    for (const [key] of kept.applied) this.here.waits.delete(key)
  }

  async #hold(key: string | null, outcome: Outcome & { does: 'hold' }): Promise<Outcome> {
    if (key !== null) this.changed.visits.add(key)
    const clinic = outcome.visit?.clinic ?? null
    const held = { key, clinic, why: outcome.why }
    if (this.#isAgain && key !== null && (await isSaid(this.#tx, this.#feed, this.here, { ...held, key })))
      return { does: 'nothing', visit: outcome.visit, why: 'Waits for a person already.' }
    await openHeld(this.#tx, this.#deps, this.#feed, this.here, held)
    if (key !== null) this.here.waits.add(key)
    this.#fault('hold', key ?? '', outcome.why, clinic)
    return outcome
  }

  #fault(does: FeedFault['does'], key: string, why: string, clinicId: string | null): void {
    const { newId, clock } = this.#deps
    this.taken.faults.push({ id: newId('h'), at: clock.now(), does, clinicId, key, why })
  }
}

/** A visit that was tried before as it is now. */
export const isSameVisit = (refused: OurVisit | undefined, visit: OurVisit) =>
  refused !== undefined && JSON.stringify(refused) === JSON.stringify(visit)
