import type { Logger } from 'pino'
import { systemClock } from './clocks.ts'

/** The machine's clock; put-off work keeps no process alive. */
export function realTime(log: Logger) {
  const after = (ms: number, work: () => Promise<void>) => {
    setTimeout(
      () => void work().catch((error: Error) => log.error({ name: error.name }, 'put-off work failed')),
      ms,
    ).unref()
  }
  return { clock: systemClock, after }
}
