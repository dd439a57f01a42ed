import { join } from 'node:path'
import { INPUT_SECONDS, type CallScript, type Step } from '../../../domain/messages/voice/call-script.ts'
import { SAMPLE_RATE } from '../../../domain/messages/voice/tone.ts'
import type { Speech } from '../speech/speech.ts'
import { silence, writeWave } from '../speech/wave.ts'

/** Longer than any wait for a key: at the end of a file the engine hangs up. */
const SILENCE_SECONDS = INPUT_SECONDS + 15
/** As long as it may ring, and a machine's greeting may take. */
const LONGEST_SILENCE_SECONDS = 200
/** Between two paragraphs. */
const PAUSE = silence(0.5)

/** Words ready to be played, with silence at their end. */
export interface Prompt {
  file: string
  /** Length of what is said, without the silence. */
  seconds: number
  /** When its last paragraph begins. */
  lastFrom: number
}

/** Makes the prompts of one call, each once, in its own folder; they are gone with it. */
export class Recorder {
  readonly #speech: Speech
  readonly #script: CallScript
  readonly #folder: string
  readonly #made = new Map<string, Promise<Prompt>>()

  constructor(speech: Speech, script: CallScript, folder: string) {
    this.#speech = speech
    this.#script = script
    this.#folder = folder
  }

  record(say: Step['say']): Promise<Prompt> {
    const known = this.#made.get(say.join('\n'))
    if (known) return known
    const made = this.#write(say, join(this.#folder, `${this.#made.size}.wav`))
    this.#made.set(say.join('\n'), made)
    return made
  }

  /** Makes all that can be foreseen. @returns a file of silence. */
  async all(): Promise<string> {
    const { steps, voicemail } = this.#script
    const thanks = Object.values(steps).flatMap(({ keys }) =>
      Object.values(keys).flatMap((act) => ('then' in act ? [[act.then]] : [])),
    )
    for (const say of [...Object.values(steps).map((step) => step.say), [voicemail], ...thanks]) await this.record(say)
    return writeWave(join(this.#folder, 'silence.wav'), [], LONGEST_SILENCE_SECONDS)
  }

  async #write(say: Step['say'], file: string): Promise<Prompt> {
    const said: Int16Array[] = []
    for (const words of say) said.push(await this.#speech.speak(words, this.#script))
    const seconds = secondsOf(said) + secondsOf([PAUSE]) * (said.length - 1)
    await writeWave(
      file,
      said.flatMap((words, n) => (n === 0 ? [words] : [PAUSE, words])),
      SILENCE_SECONDS,
    )
    return { file, seconds, lastFrom: seconds - secondsOf(said.slice(-1)) }
  }
}

function secondsOf(sounds: readonly Int16Array[]): number {
  return sounds.reduce((sum, { length }) => sum + length, 0) / SAMPLE_RATE
}
