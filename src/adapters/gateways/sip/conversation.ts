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
import { talkedOn, whatNow } from '../../../domain/messages/voice/who-answered.ts'
import { Attention, type Happened } from './attention.ts'
import type { Line } from './line.ts'
import type { Prompt } from './recorder.ts'

/** How a call that was answered ended. `delivered` only when the message was heard to its end, or answered by key 1. */
export interface CallEnd {
  state: 'delivered' | 'undelivered'
  code: string
}

export interface Talk {
  line: Pick<Line, 'play' | 'next' | 'deafen'>
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
/** After a machine's words, should they have been heard by a person. */
const AFTERTHOUGHT_SECONDS = 2
/** Some machines beep more than once. */
const MOST_TONES = 3

/** Talks to whoever answered, until the call is over; hanging up is left to the caller of this. */
export async function converse(talk: Talk): Promise<CallEnd> {
  const attention = new Attention(talk.line)
  const first = await firstWord(attention)
  if (first === 'closed') return { state: 'undelivered', code: 'hung-up' }
  return first === 'leave-word' ? leaveWord(talk, attention) : new Conversation(talk, attention, first).run()
}

/** Waits until it is our turn to speak. A key pressed makes it ours: a person is there. */
async function firstWord(attention: Attention): Promise<'speak' | 'leave-word' | 'key' | 'closed'> {
  for (;;) {
    const now = whatNow(attention.heard)
    if (now) return now
    const event = await attention.next(100, { tone: false })
    if (event === 'closed') return 'closed'
    if (event) return 'key'
  }
}

/**
 * Leaves no more than who called and the number to call back, after the tone; and from the beginning, should there be
 * another. Who presses a key is a person all the same.
 */
async function leaveWord(talk: Talk, attention: Attention, tones = 1): Promise<CallEnd> {
  if (talk.machine === 'hang-up') return { state: 'undelivered', code: 'machine' }
  attention.forgetTone()
  const { file, seconds } = await talk.record([talk.script.voicemail])
  await talk.line.play(file)
  const began = performance.now()
  const event = await attention.until(began + (seconds + AFTERTHOUGHT_SECONDS) * 1000, { tone: tones < MOST_TONES })
  if (event === 'tone') return leaveWord(talk, attention, tones + 1)
  if (event !== undefined && event !== 'closed') return new Conversation(talk, attention, 'key').run()
  const said = event === undefined || performance.now() - began >= seconds * 1000
  return { state: 'undelivered', code: said ? 'voicemail' : 'machine' }
}

/** Says the last thing, to its end. */
async function sayLast({ line, record }: Talk, attention: Attention, words: Step['say']): Promise<void> {
  const { file, seconds } = await record(words)
  await line.play(file)
  const until = performance.now() + seconds * 1000
  for (let event: Happened; until > performance.now() && event !== 'closed';)
    event = await attention.until(until, { tone: false })
}

/** The conversation with a person: step by step, as the script has it. */
class Conversation {
  readonly #talk: Talk
  readonly #attention: Attention
  /** It greeted as machines do: the name of the outcome rests on it where no key comes. */
  readonly #suspected: boolean
  /** A step given in answer to a key. */
  #given: Step | undefined
  #heard = false
  /** By the latest answer. */
  #report: CallReport | undefined
  #mistakes = 0
  #rounds = 0
  #lastKeyAt = -Infinity

  /** @param after `key`: one was pressed before anything was said, so that a person listens. */
  constructor(talk: Talk, attention: Attention, after: 'key' | 'speak') {
    this.#talk = talk
    this.#attention = attention
    this.#suspected = after === 'speak' && talkedOn(attention.heard)
    if (after === 'key') this.#pressed()
  }

  async run(): Promise<CallEnd> {
    for (let name: string | undefined = 'greeting'; name !== undefined;) {
      const step: Step = stepOf(this.#talk.script, name, this.#given)!
      const key = await this.#ask(name, step.say, step)
      if (key === 'closed') return this.#end('hung-up')
      if (key === 'tone') return leaveWord(this.#talk, this.#attention)
      if (key === undefined) return this.#end(this.#nobody(name))
      const act: KeyAct = step.keys[key]!
      name = 'go' in act ? act.go : await this.#tell(name, act)
    }
    return this.#end('call-broken')
  }

  /**
   * Says it up to `ROUNDS` times, and then who called, as to a machine.
   *
   * @returns a key of this step, `closed`, `tone` of a machine that was greeted, or undefined when no key came.
   */
  async #ask(name: string, words: Step['say'], step: Step): Promise<string | undefined> {
    const last = this.#rounds >= ROUNDS
    if (last && this.#hangsUp(name)) return undefined
    const { file, seconds, lastFrom } = await this.#talk.record(words)
    await this.#talk.line.play(file)
    const began = performance.now()
    const event = await this.#key(began + (seconds + (last ? AFTERTHOUGHT_SECONDS : INPUT_SECONDS)) * 1000)
    // Its last paragraph says the keys: who presses one in it has heard the message.
    if (name === 'message' && !last && performance.now() - began >= lastFrom * 1000) this.#heard = true
    if (event === 'closed' || event === 'tone') return event
    if (event) return Object.hasOwn(step.keys, event.digit) ? this.#taken(event.digit) : this.#mistaken(name, step)
    if (last) return undefined
    return ++this.#rounds < ROUNDS
      ? this.#ask(name, step.say, step)
      : this.#ask(name, [this.#talk.script.voicemail], step)
  }

  #taken(digit: string): string {
    this.#rounds = 0
    return digit
  }

  #mistaken(name: string, step: Step): Promise<string | undefined> {
    if (++this.#mistakes >= MOST_MISTAKES) return this.#farewell()
    return this.#ask(name, [this.#talk.script.notAKey, ...step.say], step)
  }

  /** The next key, the end of the call, or a machine's tone after all; undefined when `until` has come. */
  async #key(until: number): Promise<Happened> {
    for (;;) {
      const event = await this.#attention.until(until, { tone: this.#lastKeyAt < 0 })
      if (event === undefined || event === 'closed' || event === 'tone') return event
      if (performance.now() - this.#lastKeyAt < REBOUND_MS) continue
      this.#pressed()
      return event
    }
  }

  /** Machines press no keys, so nothing that is heard matters any more. */
  #pressed(): void {
    this.#lastKeyAt = performance.now()
    this.#talk.line.deafen()
  }

  /** Tells an answer and says what follows. @returns the step that goes on, if any. */
  async #tell(step: string, act: Extract<KeyAct, { answer: unknown }>): Promise<string | undefined> {
    const follows = await this.#talk.answered(act.answer)
    if (this.#report !== 'key-1') this.#report = reportOf(step, act)
    if (follows && Object.keys(follows.keys).length > 0) {
      this.#given = follows
      return 'answer'
    }
    await sayLast(this.#talk, this.#attention, follows?.say ?? [act.then])
    return undefined
  }

  /** After too many keys that mean nothing. */
  async #farewell(): Promise<undefined> {
    await sayLast(this.#talk, this.#attention, [this.#talk.script.voicemail])
  }

  /** A machine is told nothing, where the clinic wants it so. */
  #hangsUp(step: string): boolean {
    return step === 'greeting' && this.#suspected && this.#talk.machine === 'hang-up'
  }

  #nobody(step: string): string {
    if (this.#hangsUp(step)) return 'machine'
    return step === 'greeting' && this.#suspected ? 'voicemail' : 'no-key'
  }

  /** @param code where the patient neither answered nor heard the message. */
  #end(code: string): CallEnd {
    if (this.#report === 'key-1' || this.#report === 'wrong-number') return CALL_REPORTS[this.#report]
    if (this.#heard) return CALL_REPORTS.heard
    return this.#report ? CALL_REPORTS[this.#report] : { state: 'undelivered', code }
  }
}
