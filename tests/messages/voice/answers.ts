import { execFileSync } from 'node:child_process'
import { Chance } from '../../../infra/chaos/random.ts'

/** How somebody, or something, answers: as a telephone would bring it. */
export interface Answer {
  who: 'person' | 'machine'
  /** What is special about it, for whoever reads a failure. */
  about: string
  /** An appliance beeps beside the person who answers. */
  appliance?: true
  /** 8000 Hz, after G.711. */
  samples: Int16Array
  /** When the machine's tone ends. */
  toneEndsMs?: number
}

const RATE = 8000
/** What people say first, and what machines say: invented. */
const HELLO: [voice: string, words: string][] = [
  ['en-us+f2', 'Hello?'],
  ['en-us+m3', 'Yes?'],
  ['en-us+f4', 'Hello, Ada speaking.'],
  ['en-us+m7', 'Good morning, this is the Fenwick residence, who is calling please?'],
  ['fr-fr+f1', 'Allô ?'],
  ['fr-fr+m2', 'Oui, bonjour, qui est à l’appareil ?'],
  ['es-419+f3', '¿Bueno?'],
  ['es-419+m1', 'Sí, dígame, ¿quién habla?'],
  ['uk+f2', 'Алло?'],
  ['uk+m4', 'Слухаю вас, хто це?'],
  ['pa+f1', 'ਹੈਲੋ, ਕੌਣ ਬੋਲ ਰਿਹਾ ਹੈ?'],
  ['pa+m3', 'ਹਾਂ ਜੀ?'],
]
const GREETINGS: [voice: string, words: string][] = [
  [
    'en-us+f3',
    'Hi, you have reached the Fenwick family. Nobody can come to the phone right now. Please leave a message after the tone, and we will call you back as soon as we can.',
  ],
  [
    'en-us+m1',
    'The person you are calling is not available. At the tone, please record your message. When you have finished recording, you may hang up.',
  ],
  [
    'fr-fr+f2',
    'Bonjour, vous êtes bien chez la famille Lenoir. Nous ne sommes pas là pour le moment. Laissez un message après le bip sonore, et nous vous rappellerons.',
  ],
  [
    'es-419+m2',
    'Ha llamado a la familia Robles. En este momento no podemos atenderle. Deje su mensaje después de la señal, y le llamaremos lo antes posible.',
  ],
  [
    'uk+f1',
    'Вітаємо. Зараз ми не можемо відповісти на ваш дзвінок. Будь ласка, залиште повідомлення після сигналу, і ми вам передзвонимо.',
  ],
  ['pa+m2', 'ਸਤਿ ਸ੍ਰੀ ਅਕਾਲ। ਅਸੀਂ ਇਸ ਵੇਲੇ ਫ਼ੋਨ ਨਹੀਂ ਚੁੱਕ ਸਕਦੇ। ਕਿਰਪਾ ਕਰਕੇ ਬੀਪ ਤੋਂ ਬਾਅਦ ਆਪਣਾ ਸੁਨੇਹਾ ਛੱਡੋ, ਅਸੀਂ ਤੁਹਾਨੂੰ ਫ਼ੋਨ ਕਰਾਂਗੇ।'],
]

/** Voices of espeak-ng within the band of telephones (300-3400 Hz, ITU-T G.712), at a level of 1. */
export interface Voices {
  hellos: Float64Array[]
  greetings: Float64Array[]
}

export function voices(): Voices {
  return { hellos: HELLO.map(spoken), greetings: GREETINGS.map(spoken) }
}

function spoken([voice, words]: [string, string]): Float64Array {
  const wave = execFileSync('espeak-ng', ['-v', voice, '-s', '160', '--stdin', '--stdout'], { input: words })
  const band = ['-t', 'wav', '-', '-r', String(RATE), '-c', '1', '-b', '16', '-e', 'signed-integer', '-t', 'raw', '-']
  const raw = execFileSync(
    'sox',
    [...band, 'sinc', '300-3400', 'silence', '1', '0.01', '0.5%', 'reverse', 'silence', '1', '0.01', '0.5%', 'reverse'],
    { input: wave, stdio: ['pipe', 'pipe', 'ignore'] },
  )
  return levelled(Float64Array.from(new Int16Array(Uint8Array.from(raw).buffer)))
}

/** Loudness of 1, pauses included. */
function levelled(sound: Float64Array): Float64Array {
  const rms = Math.sqrt(sound.reduce((sum, sample) => sum + sample * sample, 0) / sound.length) || 1
  return sound.map((sample) => sample / rms)
}

const NOISE_SECONDS = 60

/** Hiss is white, a street is dark (one pole at some 200 Hz), babble is six voices at once. */
function noises(luck: Chance, talkers: Float64Array[]): Record<string, Float64Array> {
  const hiss = Float64Array.from({ length: NOISE_SECONDS * RATE }, () => between(luck, -1, 1))
  let dark = 0
  const street = hiss.map((sample) => (dark = 0.85 * dark + sample))
  const babble = new Float64Array(hiss.length)
  for (let voice = 0; voice < 6; voice++) {
    for (let at = 0; at < babble.length;) {
      const words = luck.one(talkers)
      for (let n = 0; n < words.length && at + n < babble.length; n++) babble[at + n]! += words[n]!
      at += words.length + Math.floor(between(luck, 0, 0.5) * RATE)
    }
  }
  return { hiss: levelled(hiss), street: levelled(street), babble: levelled(babble) }
}

/** So many answers, the same for the same seed: half are persons. */
export function answers(count: number, seed: number, { hellos, greetings }: Voices): Answer[] {
  const luck = new Chance(seed)
  const behind = noises(luck, [...hellos, ...greetings])
  return Array.from({ length: count }, (_, n) =>
    n % 2 ? machine(luck, greetings, behind) : person(luck, hellos, behind),
  )
}

function person(luck: Chance, hellos: Float64Array[], behind: Record<string, Float64Array>): Answer {
  const slow = luck.happens(0.25) ? between(luck, 1, 5) : between(luck, 0.1, 0.8)
  const level = between(luck, -40, -15)
  const first = cut(luck.one(hellos), between(luck, 0.4, 4))
  const again = luck.happens(0.5) ? luck.one(hellos) : undefined
  const beeps = luck.happens(0.05) ? between(luck, 900, 2000) : undefined
  const track = new Track(slow + 10)
  let at = track.add(slow, first, level)
  if (beeps) for (let n = 0; n < 3; n++) at = track.add(at + 0.4, tone(beeps, 0.2), level - between(luck, 5, 15))
  if (again) track.add(at + between(luck, 1.6, 4), again, level)
  const noise = luck.one(['none', 'hiss', 'babble', 'babble', 'street'])
  const snr = between(luck, 3, 25)
  track.noise(behind[noise], level - snr, luck)
  return {
    ...(beeps && { appliance: true as const }),
    who: 'person',
    about: `${beeps ? 'kitchen ' : ''}${noise} ${snr.toFixed()} dB, ${level.toFixed()} dBFS, after ${slow.toFixed(1)} s`,
    samples: track.coded(),
  }
}

function machine(luck: Chance, greetings: Float64Array[], behind: Record<string, Float64Array>): Answer {
  const level = between(luck, -40, -15)
  const before = between(luck, 0.1, 2)
  const greeting = cut(luck.one(greetings), between(luck, 2, 12))
  const [hz, seconds, gap] = [between(luck, 420, 2050), between(luck, 0.15, 1), between(luck, 0.05, 1.5)]
  const track = new Track(before + greeting.length / RATE + gap + seconds + 1)
  const end = track.add(track.add(before, greeting, level) + gap, tone(hz, seconds), level + between(luck, -6, 3))
  const noise = luck.one(['none', 'none', 'hiss', 'babble'])
  const snr = between(luck, 12, 35)
  track.noise(behind[noise], level - snr, luck)
  return {
    who: 'machine',
    about: `${hz.toFixed()} Hz ${seconds.toFixed(2)} s, ${noise} ${snr.toFixed()} dB, ${level.toFixed()} dBFS`,
    samples: track.coded(),
    toneEndsMs: end * 1000,
  }
}

const between = (luck: Chance, low: number, high: number) => low + luck.next() * (high - low)
const cut = (sound: Float64Array, seconds: number) => sound.subarray(0, Math.round(seconds * RATE))

function tone(hz: number, seconds: number): Float64Array {
  return Float64Array.from(
    { length: Math.round(seconds * RATE) },
    (_, n) => Math.SQRT2 * Math.sin((2 * Math.PI * hz * n) / RATE),
  )
}

const scale = (decibels: number) => 32_768 * 10 ** (decibels / 20)

/** A recording in the making. */
class Track {
  readonly #sound: Float64Array

  constructor(seconds: number) {
    this.#sound = new Float64Array(Math.ceil(seconds * RATE))
  }

  /** @returns when it ends, in seconds. */
  add(at: number, sound: Float64Array, decibels: number): number {
    const [from, loud] = [Math.round(at * RATE), scale(decibels)]
    for (let n = 0; n < sound.length && from + n < this.#sound.length; n++) this.#sound[from + n]! += sound[n]! * loud
    return at + sound.length / RATE
  }

  /** Puts some part of a noise behind it. */
  noise(noise: Float64Array | undefined, decibels: number, luck: Chance): void {
    if (noise) this.add(0, noise.subarray(Math.floor(luck.next() * (noise.length - this.#sound.length))), decibels)
  }

  coded(): Int16Array {
    const coded = new Int16Array(this.#sound.length)
    for (let n = 0; n < coded.length; n++)
      coded[n] = MU_LAW[Math.max(0, Math.min(65_535, Math.round(this.#sound[n]!) + 32_768))]!
    return coded
  }
}

const MU_LAW = Int16Array.from({ length: 65_536 }, (_, n) => muLaw(n - 32_768))

/** What is left of a sample after µ-law (ITU-T G.711): eight segments of sixteen steps. */
function muLaw(sample: number): number {
  const size = Math.min(Math.abs(sample), 32_635) + 132
  const step = 2 ** (Math.floor(Math.log2(size)) - 4)
  const kept = Math.floor(size / step) * step + step / 2 - 132
  return Math.sign(sample) * Math.trunc(kept)
}
