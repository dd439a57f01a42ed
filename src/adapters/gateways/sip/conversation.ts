import {
  INPUT_SECONDS,
  ROUNDS,
  stepOf,
  type CallScript,
  type KeyAct,
  type Step,
} from '../../../domain/messages/voice/call-script.ts'
import type { Pressed } from '../../../domain/messages/voice/pressed.ts'
import { CALL_REPORTS, reportOf, type CallReport } from '../../../domain/messages/voice/call-report.ts'
import { quietFor, whoAnswered, type Loudness } from '../../../domain/messages/voice/who-answered.ts'
import type { Prompt } from '../speech/speech.ts'
import type { Line, LineEvent } from './line.ts'

/** How a call that was answered ended. `delivered` only when the message was heard to its end, or answered by key 1. */
export interface CallEnd {
  state: 'delivered' | 'undelivered'
  code: string
}

export interface Talk {
  line: Pick<Line, 'play' | 'next'>
  script: CallScript
  /** Makes words audible; the same words are made once. */
  record(say: Step['say']): Promise<Prompt>
  /** Tells an answer, and waits until it is stored. */
  answered(pressed: Pressed): Promise<Step | null>
  machine: 'leave-word' | 'hang-up'
}

const MOST_MISTAKES = 4
/** A key held or pressed twice is not an answer to what comes next. */
const REBOUND_MS = 500
const QUIET_BEFORE_WORDS_MS = 2_000
const LONGEST_GREETING_MS = 30_000

/** Talks to whoever answered, until the call is over; hanging up is left to the caller of this. */
export async function converse(talk: Talk): Promise<CallEnd> {
  const listening = await listen(talk)
  if (listening === 'closed') return { state: 'undelivered', code: 'hung-up' }
  return listening === 'machine' ? leaveWord(talk) : new Conversation(talk).run()
}

interface Heard {
  levels: Loudness[]
  ms: number
}

/** Finds out who answered, by how loud the line is. A key pressed settles it, whatever it is. */
async function listen(
  { line }: Talk,
  done = (heard: Heard) => whoAnswered(heard.levels, heard.ms),
): Promise<'person' | 'machine' | 'closed'> {
  const began = performance.now()
  const levels: Loudness[] = []
  for (;;) {
    const ms = performance.now() - began
    const who = done({ levels, ms })
    if (who) return who
    const event = await line.next(100)
    if (event?.kind === 'closed') return 'closed'
    if (event?.kind === 'digit') return 'person'
    if (event?.kind === 'level') levels.push({ ms: performance.now() - began, decibels: event.decibels })
  }
}

/** Waits for the end of the greeting, and leaves no more than who called and the number to call back. */
async function leaveWord(talk: Talk): Promise<CallEnd> {
  if (talk.machine === 'hang-up') return { state: 'undelivered', code: 'machine' }
  const over = ({ levels, ms }: Heard) =>
    quietFor(levels, ms) >= QUIET_BEFORE_WORDS_MS || ms >= LONGEST_GREETING_MS ? ('machine' as const) : undefined
  // Counts as loud until proven quiet: levels from before are not known here.
  if ((await listen(talk, over)) === 'closed') return { state: 'undelivered', code: 'machine' }
  const said = await say(talk, [talk.script.voicemail])
  return { state: 'undelivered', code: said ? 'voicemail' : 'machine' }
}

/** Says something to its end; false when the call is closed before. Keys do not matter. */
async function say({ line, record }: Talk, words: Step['say']): Promise<boolean> {
  const { file, seconds } = await record(words)
  await line.play(file)
  const until = performance.now() + seconds * 1000
  for (let left = seconds * 1000; left > 0; left = until - performance.now()) {
    if ((await line.next(left))?.kind === 'closed') return false
  }
  return true
}

/** The conversation with a person: step by step, as the script has it. */
class Conversation {
  readonly #talk: Talk
  /** A step given in answer to a key. */
  #given: Step | undefined
  #heard = false
  /** By the latest answer. */
  #report: CallReport | undefined
  #mistakes = 0
  #rounds = 0
  #lastKeyAt = 0

  constructor(talk: Talk) {
    this.#talk = talk
  }

  async run(): Promise<CallEnd> {
    for (let name: string | undefined = 'greeting'; name !== undefined;) {
      const step: Step = stepOf(this.#talk.script, name, this.#given)!
      const key = await this.#ask(name, step.say, step)
      if (key === 'closed') return this.#end('hung-up')
      if (key === undefined) {
        await say(this.#talk, [this.#talk.script.voicemail])
        return this.#end('no-key')
      }
      const act: KeyAct = step.keys[key]!
      name = 'go' in act ? act.go : await this.#tell(name, act)
    }
    return this.#end('call-broken')
  }

  /** Says it up to `ROUNDS` times. @returns a key of this step, `closed`, or undefined when none came. */
  async #ask(name: string, words: Step['say'], step: Step): Promise<string | 'closed' | undefined> {
    const { file, seconds } = await this.#talk.record(words)
    await this.#talk.line.play(file)
    const began = performance.now()
    const event = await this.#key(began + (seconds + INPUT_SECONDS) * 1000)
    if (name === 'message' && performance.now() - began >= seconds * 1000) this.#heard = true
    if (event?.kind === 'closed') return 'closed'
    if (event?.kind === 'digit')
      return Object.hasOwn(step.keys, event.digit) ? this.#taken(event.digit) : this.#mistaken(name, step)
    return ++this.#rounds < ROUNDS ? this.#ask(name, step.say, step) : undefined
  }

  #taken(digit: string): string {
    this.#rounds = 0
    return digit
  }

  #mistaken(name: string, step: Step): Promise<string | 'closed' | undefined> {
    if (++this.#mistakes >= MOST_MISTAKES) return Promise.resolve(undefined)
    return this.#ask(name, [this.#talk.script.notAKey, ...step.say], step)
  }

  /** The next key, or the end of the call; undefined when `until` has come. */
  async #key(until: number): Promise<LineEvent | undefined> {
    for (let left = until - performance.now(); left > 0; left = until - performance.now()) {
      const event = await this.#talk.line.next(left)
      if (event?.kind === 'closed') return event
      if (event?.kind !== 'digit' || performance.now() - this.#lastKeyAt < REBOUND_MS) continue
      this.#lastKeyAt = performance.now()
      return event
    }
    return undefined
  }

  /** Tells an answer and says what follows. @returns the step that goes on, if any. */
  async #tell(step: string, act: Extract<KeyAct, { answer: unknown }>): Promise<string | undefined> {
    const follows = await this.#talk.answered(act.answer)
    if (this.#report !== 'key-1') this.#report = reportOf(step, act)
    if (follows && Object.keys(follows.keys).length > 0) {
      this.#given = follows
      return 'answer'
    }
    await say(this.#talk, follows?.say ?? [act.then])
    return undefined
  }

  /** @param code where the patient neither answered nor heard the message. */
  #end(code: string): CallEnd {
    if (this.#report === 'key-1' || this.#report === 'wrong-number') return CALL_REPORTS[this.#report]
    if (this.#heard) return CALL_REPORTS.heard
    return this.#report ? CALL_REPORTS[this.#report] : { state: 'undelivered', code }
  }
}
