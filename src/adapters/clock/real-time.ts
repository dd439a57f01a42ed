import type { Logger } from 'pino'
import type { Clock } from '../../flows/ports/deps.ts'
import { systemClock } from './clocks.ts'

/** A clock with the means to put work off, real or virtual. */
export interface Timekeeper {
  clock: Clock
  after(ms: number, work: () => Promise<void>): void
}

/** Time as it goes by on this machine. */
export function realTime(log: Logger): Timekeeper {
  const after = (ms: number, work: () => Promise<void>) => {
    setTimeout(
      () => void work().catch((error: Error) => log.error({ name: error.name }, 'put-off work failed')),
      ms,
    ).unref()
  }
  return { clock: systemClock, after }
}
