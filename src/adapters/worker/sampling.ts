import type { Deps } from '../../flows/ports/deps.ts'
import { takeFigures } from '../../flows/messages/take-figures.ts'
import { startRhythm } from './rhythm.ts'

const LOOK_MS = 60_000

/** Keeps figures in a steady rhythm, with how long the last sweep of this process took. */
export function startSampling(deps: Pick<Deps, 'store' | 'clock'>, onError: (error: Error) => void) {
  let lastSweep: number | null = null
  const stop = startRhythm(LOOK_MS, () => takeFigures(deps, lastSweep), onError)
  return { swept: (seconds: number) => void (lastSweep = seconds), stop }
}
