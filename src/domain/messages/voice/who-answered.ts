import { PAUSE_MS, type Hearing } from './hearing.ts'

/** People say a few words and wait. */
const LONG_GREETING_MS = 2_500
/** The shortest greeting of a machine: a tone after less is a sound of the house. */
const GREETED_MS = 1_500
/** Nothing said for so long: somebody listens. */
const SILENT_MS = 3_000
/** Nobody is kept waiting for longer, whatever is heard: it may be a noise, and no talk. */
const LONGEST_WAIT_MS = 8_000

/**
 * What is to be done now: `speak` to whoever answered, `leave-word` after the tone of a machine, or wait. Only a tone
 * makes a machine: a person may speak at length, in noise, or not at all, and is asked for a key as everybody is.
 */
export function whatNow(heard: Hearing): 'speak' | 'leave-word' | undefined {
  if (machineToned(heard)) return 'leave-word'
  if (heard.ms >= LONGEST_WAIT_MS) return 'speak'
  if (heard.talk === undefined) return heard.ms >= SILENT_MS ? 'speak' : undefined
  return heard.ms - heard.talk.to >= PAUSE_MS ? 'speak' : undefined
}

/** Whether a machine's tone has been heard: after a greeting, or where nothing else was ever heard. */
export function machineToned({ toneEnded, longestTalkMs }: Hearing): boolean {
  return toneEnded !== undefined && (longestTalkMs >= GREETED_MS || longestTalkMs === 0)
}

/** Whether it talked like a machine, without a pause. A hint, on which nothing but the name of the outcome rests. */
export function talkedOn({ longestTalkMs }: Hearing): boolean {
  return longestTalkMs >= LONG_GREETING_MS
}
