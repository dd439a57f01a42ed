import { hear, NOTHING_HEARD, type Hearing } from '../../../domain/messages/voice/hearing.ts'
import { machineToned } from '../../../domain/messages/voice/who-answered.ts'
import type { Line } from './line.ts'

/** A key, the end of the call, a machine's tone; undefined when none of them came in time. */
export type Happened = { digit: string } | 'closed' | 'tone' | undefined

/** Whether a tone is to be told: who has pressed a key is no machine. */
export interface Heed {
  tone: boolean
}

/** Attends to one line, and remembers what was heard on it. Keys are heard always. */
export class Attention {
  readonly #line: Pick<Line, 'next'>
  #heard = NOTHING_HEARD

  constructor(line: Pick<Line, 'next'>) {
    this.#line = line
  }

  get heard(): Hearing {
    return this.#heard
  }

  /** The tone has been acted on. */
  forgetTone(): void {
    this.#heard = { ...this.#heard, toneEnded: undefined }
  }

  /** What happens until a moment of `performance.now()`. */
  async until(until: number, heed: Heed): Promise<Happened> {
    for (let left = until - performance.now(); left > 0; left = until - performance.now()) {
      const happened = await this.next(left, heed)
      if (happened) return happened
    }
    return undefined
  }

  /** The next thing that happens within some milliseconds; hearing something is nothing yet. */
  async next(ms: number, { tone }: Heed): Promise<Happened> {
    const event = await this.#line.next(ms)
    if (event?.kind === 'closed') return 'closed'
    if (event?.kind === 'digit') return { digit: event.digit }
    if (event?.kind === 'sound') this.#heard = event.frames.reduce(hear, this.#heard)
    return tone && machineToned(this.#heard) ? 'tone' : undefined
  }
}
