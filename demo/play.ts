import { setTimeout as pause } from 'node:timers/promises'
import { DateTime } from 'luxon'
import { sweep } from '../src/flows/messages/sweep.ts'
import { atClock } from './diary.ts'
import { ZONE, workday } from './scenario.ts'
import type { World } from './world.ts'

export const LEAPS = { hour: 'Next hour', morning: 'Next morning', week: 'Next week' } as const
export type Leap = keyof typeof LEAPS

const TICK_MS = 500
const SWEEP_MS = 15_000
/** Three months go by faster with fewer sweeps: messages wait in the queue for two days anyway. */
const HISTORY_SWEEP_MINUTES = 240
const STORY_SWEEP_MINUTES = 120
const STORY_MS = 28 * 86_400_000

/** Time as a person who plays has it: it fills in what was before, then goes on by itself, and leaps when told to. */
export class Play {
  readonly #start: Date
  readonly #morning: Date
  readonly #ended = new AbortController()
  #goal: Date

  constructor(start: Date, morning: Date) {
    this.#start = start
    this.#morning = morning
    this.#goal = morning
  }

  /** How much of what was before this morning has been told at that moment, 0..1. */
  told(now: Date): number {
    const [start, morning] = [this.#start.getTime(), this.#morning.getTime()]
    return Math.min(1, (now.getTime() - start) / (morning - start))
  }

  /** Where time is on its way to; null where it goes on by itself. */
  leapingTo(now: Date): Date | null {
    return now < this.#goal ? this.#goal : null
  }

  leap(by: Leap, now: Date): void {
    if (now < this.#goal) return
    const here = DateTime.fromJSDate(now, { zone: ZONE })
    const later = { hour: () => here.plus({ hours: 1 }), morning: () => nine(here, 1), week: () => nine(here, 7) }[by]()
    this.#goal = later.toJSDate()
  }

  end(): void {
    this.#ended.abort()
  }

  /** Until the end. @param onStep is told whenever time has passed */
  async run(world: World, onStep: () => Promise<void>): Promise<void> {
    const { clock, passUntil } = world
    const unlessEnded = async () => {
      this.#ended.signal.throwIfAborted()
      await onStep()
    }
    try {
      await passUntil(new Date(this.#morning.getTime() - STORY_MS), unlessEnded, HISTORY_SWEEP_MINUTES)
      await passUntil(this.#morning, unlessEnded, STORY_SWEEP_MINUTES)
      let swept = clock.now().getTime()
      for (let before = Date.now(); ;) {
        await passUntil(this.#goal, unlessEnded)
        await pause(TICK_MS, undefined, { signal: this.#ended.signal })
        const passed = Date.now() - before
        before += passed
        await clock.moveTo(new Date(clock.now().getTime() + passed))
        if (clock.now().getTime() - swept < SWEEP_MS) continue
        swept = clock.now().getTime()
        await sweep(world.composed.deps)
        await onStep()
      }
    } catch (error) {
      if (!this.#ended.signal.aborted) throw error
    }
  }
}

const nine = (now: DateTime, days: number) => atClock(workday(now.plus({ days })), '09:00')
