import type { Step } from '../../../domain/messages/voice/call-script.ts'

/** A prompt ready to be played: mono, 16 bit, 8000 Hz, with silence at its end. */
export interface Prompt {
  file: string
  /** Length of what is said, without the silence. */
  seconds: number
}

/** What makes speech of words. Another engine is another implementation of this. */
export interface Speech {
  /** Whether it can say this language. */
  speaks(language: string): boolean
  /** Whether its programs are there. */
  ready(): Promise<boolean>
  /**
   * Writes a WAV file.
   *
   * @param silence seconds of silence after the words, in which a key may be pressed.
   * @throws SpeechFault when the engine refuses or fails.
   */
  speak(say: Step['say'], voice: { language: string; locale: string }, file: string, silence: number): Promise<Prompt>
}

/** Carries no words: they may be about a patient. */
export class SpeechFault extends Error {
  readonly program: string

  constructor(program: string) {
    super(`${program} could not make speech`)
    this.program = program
  }
}
