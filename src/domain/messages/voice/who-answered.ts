/** Who seems to have answered. A hint, never proof of a person. */
export type Answerer = 'person' | 'machine'

/** How loud the other side was, at one moment of the call. */
export interface Loudness {
  /** Since the call was answered. */
  ms: number
  decibels: number
}

const LOUD_DB = -50
/** People say a few words and wait. */
const LONG_GREETING_MS = 2_500
/** Longer than machines pause between sentences, short enough not to be put down. */
const QUIET_AFTER_WORDS_MS = 1_500
/** Nothing said for so long: somebody listens. */
const SILENT_MS = 3_000

/**
 * Judges by sound levels alone, so nothing needs to be recorded: a greeting of over 2.5 s without a pause is a
 * machine's; a few words and then quiet, or no word at all, are a person's. Thresholds chosen by trial, no source.
 *
 * @param heard levels so far, in order, about every half second; none come while the other side sends nothing.
 * @param ms since the call was answered.
 * @returns undefined while it cannot be told yet.
 */
export function whoAnswered(heard: readonly Loudness[], ms: number): Answerer | undefined {
  const run = lastLoudRun(heard)
  if (run === undefined) return ms >= SILENT_MS ? 'person' : undefined
  if (run.to - run.from >= LONG_GREETING_MS) return 'machine'
  return ms - run.to >= QUIET_AFTER_WORDS_MS ? 'person' : undefined
}

/** For how long it has been quiet at `ms`; the whole time when nothing was heard. */
export function quietFor(heard: readonly Loudness[], ms: number): number {
  return ms - (lastLoudRun(heard)?.to ?? 0)
}

/** The latest stretch of speech; gaps too short to be an end belong to it. */
function lastLoudRun(heard: readonly Loudness[]): { from: number; to: number } | undefined {
  let run: { from: number; to: number } | undefined
  for (const { ms, decibels } of heard) {
    if (decibels <= LOUD_DB) continue
    run = run && ms - run.to <= QUIET_AFTER_WORDS_MS ? { from: run.from, to: ms } : { from: ms, to: ms }
  }
  return run
}
