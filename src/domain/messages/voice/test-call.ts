import type { CallScript } from './call-script.ts'

/** A call that says some words and waits for key 1: for operators, about nobody. */
export function testCall(words: string): CallScript {
  return {
    language: 'en',
    locale: 'en',
    steps: {
      greeting: {
        say: [words, 'If you hear this, press 1.'],
        keys: { '1': { answer: { meaning: 'confirm' }, then: 'Thank you. The key was heard. Goodbye.', told: true } },
      },
      message: { say: [words], keys: {} },
    },
    voicemail: words,
    notAKey: 'That is another key.',
  }
}
