import type { Deps } from '../ports/deps.ts'

/** So far apart are the moments of which is kept how the service stood. */
export const SAMPLE_MS = 5 * 60_000
const KEPT_MS = 8 * 86_400_000

/**
 * Keeps how the service stands, once for each moment, whichever worker is first; what is older than eight days goes.
 * @returns whether this call wrote it down
 */
export async function takeFigures(
  { store, clock }: Pick<Deps, 'store' | 'clock'>,
  sweepSeconds: number | null,
): Promise<boolean> {
  const now = clock.now()
  const moment = new Date(Math.floor(now.getTime() / SAMPLE_MS) * SAMPLE_MS)
  const { standing } = store.read
  const written = await standing.sample(moment, now, sweepSeconds)
  if (written) await standing.forgetSamples(new Date(now.getTime() - KEPT_MS))
  return written
}
