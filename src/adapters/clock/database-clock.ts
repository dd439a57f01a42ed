import type { Clock } from '../../flows/ports/deps.ts'
import type { Database, Pool } from '../db/pool.ts'

/**
 * Time by the database's clock, which all processes share, so that "due" is the same moment everywhere however the
 * clocks of the machines differ. Between one look at the database and the next, this machine's stopwatch counts on:
 * where the database is away, time goes on from what it said last. Until it has been heard the machine's own clock
 * counts.
 */
export class DatabaseClock implements Clock {
  #at = Date.now()
  #running = performance.now()
  #heard = false

  now(): Date {
    return new Date(this.#timeAt(performance.now()))
  }

  /** By how many milliseconds the machine's clock is ahead; null = not known yet. */
  offset(): number | null {
    return this.#heard ? Math.round(Date.now() - this.#timeAt(performance.now())) : null
  }

  /**
   * What the database said: it was so at some moment between question and answer. What fits what is known already
   * changes nothing, so that time does not tremble.
   * @param asked by the stopwatch (`performance.now`), which does not jump when the machine's clock is set
   * @param answered likewise
   */
  hear(at: Date, asked: number, answered: number): void {
    const doubt = (answered - asked) / 2
    const middle = asked + doubt
    if (this.#heard && Math.abs(at.getTime() - this.#timeAt(middle)) <= doubt + TREMBLE_MS) return
    this.#heard = true
    this.#at = at.getTime()
    this.#running = middle
  }

  #timeAt(running: number): number {
    return this.#at + running - this.#running
  }
}

/** Less than this is no difference: a database says whole milliseconds, and is a moment away. */
const TREMBLE_MS = 20
/** An answer that took so long says too little about the time. */
const TOO_SLOW_MS = 2_000

/** Asks the database what time it is. @throws where it is away */
export async function askTime(clock: DatabaseClock, records: Pool): Promise<void> {
  const asked = performance.now()
  const { rows } = await records.query('select clock_timestamp() as at')
  const answered = performance.now()
  if (answered - asked < TOO_SLOW_MS) clock.hear(rows[0]!.at as Date, asked, answered)
}

/** The time of a database server; null for one that is part of this process. @throws where it is away */
export async function databaseTime({
  kind,
  records,
}: Pick<Database, 'kind' | 'records'>): Promise<DatabaseClock | null> {
  if (kind === 'embedded') return null
  const clock = new DatabaseClock()
  await askTime(clock, records)
  return clock
}
