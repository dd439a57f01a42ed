import { spawn } from 'node:child_process'
import { stat, writeFile } from 'node:fs/promises'
import { ssml } from '../../../domain/messages/voice/ssml.ts'
import { SpeechFault, type Speech } from './speech.ts'

export interface EspeakOptions {
  /** Voice by language code; those left out cannot be said. */
  voices?: Record<string, string>
  wordsPerMinute?: number
}

/** espeak-ng 1.51 has no voice for Canadian French; `fr-fr` is what it says for it too. */
export const ESPEAK_VOICES: Record<string, string> = { en: 'en-us', es: 'es-419', fr: 'fr-fr', pa: 'pa', uk: 'uk' }
/** Slow enough to follow, quick enough for a minute. */
const WORDS_PER_MINUTE = 160

const RATE = 8000
const BYTES_A_SECOND = RATE * 2
const WAV_HEADER_BYTES = 44
const PATIENCE_MS = 20_000
/** Telephone audio: what players of G.711 take without resampling. */
const FORMAT = ['-r', String(RATE), '-c', '1', '-b', '16', '-e', 'signed-integer']

/** Speech by Debian's espeak-ng, made fit for the telephone by sox. */
export function espeak({ voices = ESPEAK_VOICES, wordsPerMinute = WORDS_PER_MINUTE }: EspeakOptions = {}): Speech {
  return {
    speaks: (language) => Object.hasOwn(voices, language),
    ready: async () => (await runs('espeak-ng')) && (await runs('sox')),
    speak: async (say, { language, locale }, file, silence) => {
      // Words go by standard input: an argument could be taken for an option.
      const words = ssml(say.map(sayable), locale)
      const spoken = await output(
        'espeak-ng',
        ['-v', voices[language] ?? language, '-s', String(wordsPerMinute), '-m', '--stdin', '--stdout'],
        words,
      )
      const wave = await output(
        'sox',
        ['-t', 'wav', '-', ...FORMAT, '-t', 'wav', '-', 'norm', '-3', 'pad', '0', String(silence)],
        spoken,
      )
      await writeFile(file, withLength(wave), { mode: 0o600 })
      const { size } = await stat(file)
      return { file, seconds: (size - WAV_HEADER_BYTES) / BYTES_A_SECOND - silence }
    },
  }
}

/**
 * What espeak-ng would not take for the words they are: `[[` would begin phonemes, and the letter apostrophe of
 * Ukrainian (U+02BC, as in пʼятниця) makes version 1.51 spell the word in English. It says the typographic one (U+2019)
 * right.
 */
function sayable(words: string): string {
  return words.replace(/\[\[|\]\]/g, ' ').replaceAll('\u02bc', '\u2019')
}

/** A pipe cannot know its length, so sox leaves it out of the header; players trust the header. */
function withLength(wave: Buffer): Buffer {
  wave.writeUInt32LE(wave.length - 8, 4)
  wave.writeUInt32LE(wave.length - WAV_HEADER_BYTES, WAV_HEADER_BYTES - 4)
  return wave
}

function runs(program: string): Promise<boolean> {
  return output(program, ['--version'], '').then(
    () => true,
    () => false,
  )
}

function output(program: string, args: string[], input: string | Buffer): Promise<Buffer> {
  return new Promise((resolve, reject) => {
    const child = spawn(program, args, { stdio: ['pipe', 'pipe', 'ignore'], timeout: PATIENCE_MS })
    const chunks: Buffer[] = []
    child.stdout.on('data', (chunk: Buffer) => chunks.push(chunk))
    child.on('error', () => reject(new SpeechFault(program)))
    child.on('close', (code) => (code === 0 ? resolve(Buffer.concat(chunks)) : reject(new SpeechFault(program))))
    child.stdin.on('error', () => {}) // it has ended already: `close` says how
    child.stdin.end(input)
  })
}
