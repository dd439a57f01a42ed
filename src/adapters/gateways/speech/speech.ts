export interface Voice {
  language: string
  /** BCP 47. */
  locale: string
}

/** What makes speech of words. Another engine is another implementation of this. */
export interface Speech {
  /** Whether it can say this language. */
  speaks(language: string): boolean
  /** Whether its programs are there. */
  ready(): Promise<boolean>
  /**
   * Says one paragraph. @returns samples: mono, 16 bit, at `SAMPLE_RATE`: what players of G.711 take as it is.
   *
   * @throws SpeechFault when the engine refuses or fails.
   */
  speak(words: string, voice: Voice): Promise<Int16Array>
}

/** Carries no words: they may be about a patient. */
export class SpeechFault extends Error {
  readonly program: string

  constructor(program: string) {
    super(`${program} could not make speech`)
    this.program = program
  }
}
