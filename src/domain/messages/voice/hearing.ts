import { energyOf, SAMPLE_RATE, strongestTone } from './tone.ts'

/** Sound is heard in pieces of this length, the usual packet of G.711 (RFC 3551 §4.2). */
export const FRAME_MS = 20
export const FRAME_SAMPLES = (SAMPLE_RATE * FRAME_MS) / 1000

/** Everything below is by trial on synthetic answers (`tests/messages/voice/answers.test.ts`); no source. */
const QUIETEST_DB = -60
/** Speech stands out of what else is there by so much. */
const ABOVE_NOISE_DB = 15
/** Within this time every talker pauses for a moment, and the noise behind is heard. */
const NOISE_FRAMES = 2_000 / FRAME_MS
/** Longer than machines pause between sentences, short enough not to be put down. */
export const PAUSE_MS = 1_500
/** What is shorter is a click, or the edge of a tone. */
const WORD_FRAMES = 3
/** A tone holds most of the energy; a voice spreads it over its harmonics. */
const TONE_SHARE = 0.8
const TONE_DB = -50
const STEADY_HZ = 15
/** Windows of two frames that overlap by one: with six of them a tone is 120 to 160 ms long. */
const TONE_WINDOWS = 5
/** Windows in which noise may hide a tone that goes on. */
const MOST_LOST = 3

/** What has been heard of the other side since it answered. The sound itself is forgotten. */
export interface Hearing {
  ms: number
  /** The latest stretch of talk; gaps too short to be an end belong to it. */
  talk: { from: number; to: number } | undefined
  /** The longest stretch of talk so far. */
  longestTalkMs: number
  /** Frames for which it has been loud now, tones left out. */
  loud: number
  /** When the latest tone ended that was as long as a machine's. */
  toneEnded: number | undefined
  /** A tone that has not ended. */
  tone: { hz: number; windows: number; lost: number } | undefined
  /** Levels of the last two seconds, in dB below full scale. */
  levels: readonly number[]
  last: Int16Array
}

export const NOTHING_HEARD: Hearing = {
  ms: 0,
  talk: undefined,
  longestTalkMs: 0,
  loud: 0,
  toneEnded: undefined,
  tone: undefined,
  levels: [],
  last: new Int16Array(FRAME_SAMPLES),
}

/** Hears one more frame. */
export function hear(heard: Hearing, frame: Int16Array): Hearing {
  const ms = heard.ms + FRAME_MS
  const level = decibelsOf(frame)
  const levels = [...heard.levels.slice(1 - NOISE_FRAMES), level]
  const tone = toneAfter(heard, frame, level > TONE_DB)
  const ended = (heard.tone?.windows ?? 0) >= TONE_WINDOWS && (tone?.windows ?? 0) <= 1
  const next = { ...heard, ms, levels, tone, last: frame, ...(ended && { toneEnded: heard.ms }) }
  const loud = tone?.lost !== 0 && level > noiseOf(levels) + ABOVE_NOISE_DB ? heard.loud + 1 : 0
  return loud >= WORD_FRAMES ? talking({ ...next, loud }) : { ...next, loud }
}

function talking(heard: Hearing): Hearing {
  const { ms, talk, loud } = heard
  const began = ms - loud * FRAME_MS
  const from = talk && began - talk.to <= PAUSE_MS ? talk.from : began
  return { ...heard, talk: { from, to: ms }, longestTalkMs: Math.max(heard.longestTalkMs, ms - from) }
}

/** The tone that goes on, or begins. Once it is long enough, noise may hide it for a moment. */
function toneAfter({ tone, last }: Hearing, frame: Int16Array, loud: boolean): Hearing['tone'] {
  const { hz, share } = loud ? strongestTone(joined(last, frame)) : { hz: 0, share: 0 }
  const sounds = share >= TONE_SHARE
  if (tone && sounds && Math.abs(hz - tone.hz) <= STEADY_HZ) return { ...tone, windows: tone.windows + 1, lost: 0 }
  if (tone && tone.windows >= TONE_WINDOWS && tone.lost < MOST_LOST) return { ...tone, lost: tone.lost + 1 }
  return sounds ? { hz, windows: 1, lost: 0 } : undefined
}

function joined(a: Int16Array, b: Int16Array): Int16Array {
  const both = new Int16Array(a.length + b.length)
  both.set(a)
  both.set(b, a.length)
  return both
}

/** How loud it is where nobody speaks: the quietest 60 ms. */
function noiseOf(levels: readonly number[]): number {
  let quietest = 0
  for (let n = 2; n < levels.length; n++)
    quietest = Math.min(quietest, Math.max(levels[n]!, levels[n - 1]!, levels[n - 2]!))
  return Math.max(QUIETEST_DB, quietest)
}

/** Root mean square below full scale. */
function decibelsOf(frame: Int16Array): number {
  return 10 * Math.log10(energyOf(frame) / frame.length / 32_768 ** 2 + 1e-10)
}
