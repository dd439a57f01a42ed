import { join } from 'node:path'
import { INPUT_SECONDS, type CallScript, type Step } from '../../../domain/messages/voice/call-script.ts'
import { writeSilence } from '../speech/silence.ts'
import type { Prompt, Speech } from '../speech/speech.ts'

/** Longer than any wait for a key: at the end of a file the engine hangs up. */
const SILENCE_SECONDS = INPUT_SECONDS + 15
/** As long as it may ring, and a machine's greeting may take. */
const LONGEST_SILENCE_SECONDS = 200

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
    const file = join(this.#folder, `${this.#made.size}.wav`)
    const made = this.#speech.speak(say, this.#script, file, SILENCE_SECONDS)
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
    return writeSilence(join(this.#folder, 'silence.wav'), LONGEST_SILENCE_SECONDS)
  }
}
