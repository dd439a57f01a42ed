import type { Pressed } from './pressed.ts'

/**
 * What happens when a key is pressed: on to a step (or the same again), or an answer that is told, with thanks in
 * `then`. `told`: whoever gives it has taken the message in.
 */
export type KeyAct = { go: string } | { answer: Pressed; then: string; told?: true }

/** Something said, and the keys that may be pressed while it is said and for a while after. */
export interface Step {
  /** Paragraphs, with a short pause between them. The last one of a message says its keys. */
  say: string[]
  /** By digit. Empty: the call ends when it was said. */
  keys: Record<string, KeyAct>
}

/**
 * A whole call as data, for any gateway that speaks.
 *
 *   greeting ─1─► message ─1,3,9─► answer told, thanks, end
 *      │ 7,9         └──2──► started ─► answer told, thanks, end
 *      └─► answer told
 *
 * Before a key is pressed nobody is known to be the patient: the greeting, and `voicemail` too, name neither test nor
 * reason, and no person.
 */
export interface CallScript {
  /** Language code of the texts, e.g. `fr`. */
  language: string
  /** BCP 47, for speech. */
  locale: string
  steps: { greeting: Step; message: Step; started?: Step }
  /** For a machine, and for a person who presses nothing: who called, and the number to call back. */
  voicemail: string
  notAKey: string
}

/** How often a step is said before a call without a key ends. */
export const ROUNDS = 2
/** How long a key is waited for after a step was said. */
export const INPUT_SECONDS = 6
/** Most seconds of speech from the first word to the last key of the message. */
export const MOST_SECONDS = 60

/** Everything said to somebody who presses 1 and then listens to the end. */
export function firstPass({ steps }: CallScript): string[] {
  return [...steps.greeting.say, ...steps.message.say]
}

/** The step of this name; `answer` is one that was given in answer to a key. */
export function stepOf(script: CallScript, name: string, answer?: Step): Step | undefined {
  if (name === 'answer') return answer
  return Object.hasOwn(script.steps, name) ? script.steps[name as keyof CallScript['steps']] : undefined
}
