import { spawn } from 'node:child_process'
import { ssml } from '../../../domain/messages/voice/ssml.ts'
import { respeller } from './respell.ts'
import { SAMPLE_RATE } from '../../../domain/messages/voice/tone.ts'
import { SpeechFault, type Speech } from './speech.ts'

export interface EspeakOptions {
  /** Voice by language code; those left out cannot be said. */
  voices?: Record<string, string>
  wordsPerMinute?: number
  /** By language: what stands for words that would be said wrong. */
  spoken?: ReadonlyMap<string, Readonly<Record<string, string>>>
}

/** espeak-ng 1.51 has no voice for Canadian French; `fr-fr` is what it says for it too. */
export const ESPEAK_VOICES: Record<string, string> = { en: 'en-us', es: 'es-419', fr: 'fr-fr', pa: 'pa', uk: 'uk' }
/** Slow enough to follow, quick enough for a minute. */
const WORDS_PER_MINUTE = 160

const PATIENCE_MS = 20_000
/** Telephone audio: what players of G.711 take without resampling. */
const FORMAT = ['-r', String(SAMPLE_RATE), '-c', '1', '-b', '16', '-e', 'signed-integer', '-t', 'raw']

/** Speech by Debian's espeak-ng, made fit for the telephone by sox. */
export function espeak(options: EspeakOptions = {}): Speech {
  const { voices = ESPEAK_VOICES, wordsPerMinute = WORDS_PER_MINUTE, spoken = new Map() } = options
  const respell = new Map([...spoken].map(([language, words]) => [language, respeller(words)]))
  return {
    speaks: (language) => Object.hasOwn(voices, language),
    ready: async () => (await runs('espeak-ng')) && (await runs('sox')),
    speak: async (words, { language, locale }) => {
      // Words go by standard input: an argument could be taken for an option.
      const wave = await output(
        'espeak-ng',
        ['-v', voices[language] ?? language, '-s', String(wordsPerMinute), '-m', '--stdin', '--stdout'],
        documentOf(words, locale, respell.get(language)),
      )
      const raw = await output('sox', ['-t', 'wav', '-', ...FORMAT, '-', 'norm', '-3'], wave)
      return new Int16Array(Uint8Array.from(raw).buffer, 0, Math.floor(raw.length / 2))
    },
  }
}

/** What espeak-ng is given to say. */
export function documentOf(words: string, locale: string, respell = (document: string) => document): string {
  return respell(ssml([sayable(words)], locale))
}

/**
 * What espeak-ng would not take for the words they are: `[[` would begin phonemes, and the letter apostrophe of
 * Ukrainian (U+02BC, as in пʼятниця) makes version 1.51 spell the word in English. It says the typographic one (U+2019)
 * right.
 */
function sayable(words: string): string {
  return words.replace(/\[\[|\]\]/g, ' ').replace(/(?<=\p{Script=Cyrillic})['\u02bc]/gu, '\u2019')
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
