import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { badInput } from '../../../domain/failure.ts'
import type { CallScript, Step } from '../../../domain/messages/voice/call-script.ts'
import { codeOf, type Pressed } from '../../../domain/messages/voice/pressed.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type { InboundHandlers, Gateway, Outgoing, SendOutcome, Turn } from '../../../flows/ports/gateway.ts'
import { loadSpoken } from '../../templates/load-spoken.ts'
import { secretOf } from '../described.ts'
import { readAuthority } from '../authority.ts'
import { InFlight } from '../in-flight.ts'
import { espeak } from '../speech/espeak.ts'
import { keptSpeech } from '../speech/kept-speech.ts'
import { SpeechFault, type Speech } from '../speech/speech.ts'
import { NO_TURN, Turns } from '../turns.ts'
import { outcomeOf } from './call-outcome.ts'
import { converse, type CallEnd } from './conversation.ts'
import { EngineMissing, Line } from './line.ts'
import { Recorder } from './recorder.ts'
import { hostOf, portsOf, readSipConfig, type SipConfig } from './sip-config.ts'
import { TrunkFault } from './trunk-fault.ts'
import { untilHeard } from './until-heard.ts'

export interface SipGatewayDeps {
  clock: { now(): Date }
  /** Resolves the NAME of an `env:NAME`. */
  secret: (name: string) => string | undefined
  /** Another engine than espeak-ng. */
  speech?: Speech
}

/** Nothing from the trunk at all, not even that it tries. */
const PROVISIONAL_MS = 10_000

/**
 * Places calls through a SIP trunk. `send` is answered when the call is: `accepted` when somebody or something picked
 * up, and what came of it follows as a receipt, and as answers to keys.
 */
export class SipGateway implements Gateway {
  readonly name: string
  readonly channels = ['voice'] as const
  readonly onUnknown: Gateway['onUnknown']
  readonly #config: SipConfig
  readonly #deps: SipGatewayDeps
  readonly #speech: Speech
  readonly #password: string | undefined
  readonly #authority: string | undefined
  readonly #inFlight = new InFlight()
  readonly #turns: Turns
  readonly #freeLines: number[]
  #ears: InboundHandlers | undefined
  #stopping = false

  constructor(config: SipConfig, deps: SipGatewayDeps) {
    this.name = config.name
    this.onUnknown = config.onUnknown
    this.#config = config
    this.#deps = deps
    const { voices, wordsPerMinute } = config.speech
    this.#speech = keptSpeech(
      deps.speech ?? espeak({ wordsPerMinute, spoken: loadSpoken(), ...(voices && { voices }) }),
    )
    this.#password = passwordOf(config, deps)
    this.#authority = config.tls?.caFile === undefined ? undefined : readAuthority(config.tls.caFile)
    this.#turns = new Turns(config.lines)
    this.#freeLines = Array.from({ length: config.lines }, (_, line) => line)
  }

  async start(ears: InboundHandlers): Promise<void> {
    this.#ears = ears
    this.#stopping = false
  }

  turn(_channel: Channel, until: AbortSignal): Promise<Turn | undefined> {
    return this.#turns.take(until)
  }

  /** A line is free again when the call is over, which is long after this is answered. */
  async send(message: Outgoing, given?: Turn): Promise<SendOutcome> {
    const refusal = this.#refusalOf(message)
    if (refusal) return refusal
    return new Promise((resolve) => void this.#inFlight.run(() => this.#place(message, given, resolve)))
  }

  async #place(message: Outgoing, given: Turn | undefined, settle: (outcome: SendOutcome) => void): Promise<void> {
    const turn = await this.#turns.thisOrSoon(given)
    if (turn === undefined) return settle(NO_TURN)
    await this.#onLine(message, message.voice!, settle).finally(() => turn.release())
  }

  /** Calls under way are talked to their end. */
  async stop(): Promise<void> {
    this.#stopping = true
    await this.#inFlight.settled()
    this.#ears = undefined
  }

  #refusalOf({ notAfter, to, voice }: Outgoing): SendOutcome | undefined {
    if (this.#ears === undefined || this.#stopping) return { kind: 'later', code: 'not-started' }
    if (notAfter <= this.#deps.clock.now()) return { kind: 'rejected', code: 'expired' }
    if (voice === undefined) return { kind: 'rejected', code: 'no-script' }
    if (!this.#speech.speaks(voice.language)) return { kind: 'rejected', code: 'no-voice' }
    const allowed = /^\+[1-9]\d{6,14}$/.test(to) && this.#config.allow.some((beginning) => to.startsWith(beginning))
    return allowed ? undefined : { kind: 'rejected', code: 'not-allowed' }
  }

  async #onLine(message: Outgoing, script: CallScript, settle: (outcome: SendOutcome) => void): Promise<void> {
    const number = this.#freeLines.pop()!
    const folder = await mkdtemp(join(tmpdir(), 'daysix-call-'))
    try {
      await this.#call(message, new Recorder(this.#speech, script, folder), script, folder, number, settle)
    } catch (error) {
      settle(outcomeOfError(error))
    } finally {
      await rm(folder, { recursive: true, force: true })
      this.#freeLines.push(number)
    }
  }

  async #call(
    message: Outgoing,
    recorder: Recorder,
    script: CallScript,
    folder: string,
    number: number,
    settle: (outcome: SendOutcome) => void,
  ): Promise<void> {
    // Everything is ready to be said before anybody's phone rings.
    const silence = await recorder.all()
    const line = await Line.open(folder, {
      config: this.#config,
      password: this.#password,
      authority: this.#authority,
      rtp: portsOf(this.#config, number),
      silence,
    })
    let end: CallEnd | undefined
    try {
      const outcome = await this.#dial(line, message.to)
      settle(outcome)
      if (outcome.kind === 'accepted') end = await this.#talk(line, message, script, recorder)
    } finally {
      await line.close()
    }
    const ended = end
    if (ended)
      await untilHeard(() =>
        this.#ears!.receipt({ gateway: this.name, messageId: message.id, ...ended, at: this.#deps.clock.now() }),
      )
  }

  #talk(line: Line, message: Outgoing, script: CallScript, recorder: Recorder): Promise<CallEnd> {
    const talk = {
      ...{ line, script, machine: this.#config.machine },
      record: (say: Step['say']) => recorder.record(say),
      answered: (pressed: Pressed) => this.#answered(message, pressed),
    }
    return converse(talk).catch(() => ({ state: 'undelivered', code: 'call-broken' }))
  }

  async #dial(line: Line, to: string): Promise<SendOutcome> {
    const { trunk, plus, ringSeconds } = this.#config
    await line.dial(`sip:${plus ? to : to.slice(1)}@${hostOf(trunk.host)}:${trunk.port}`)
    const began = performance.now()
    let rings = false
    for (;;) {
      const left =
        (rings ? ringSeconds * 1000 : Math.min(PROVISIONAL_MS, ringSeconds * 1000)) - (performance.now() - began)
      const event = await line.next(left)
      if (event === undefined) return { kind: 'later', code: rings ? 'no-answer' : 'trunk-silent' }
      if (event.kind === 'answered') return { kind: 'accepted' }
      // The engine is gone and cannot say whether somebody had picked up.
      if (event.kind === 'closed')
        return event.cause === 'engine-gone' ? { kind: 'unknown', code: 'engine-gone' } : outcomeOf(event.cause)
      if (event.kind === 'ringing') rings = true
    }
  }

  /** Stored before anybody is thanked. */
  #answered({ id: messageId }: Outgoing, pressed: Pressed): Promise<Step | null> {
    const at = this.#deps.clock.now()
    const key = `${messageId}/${codeOf(pressed)}`
    return untilHeard(
      async () => (await this.#ears!.keyPressed?.({ gateway: this.name, key, messageId, pressed, at })) ?? null,
    )
  }
}

/** Makes the gateway that a description describes. @throws Failure `bad-input` with every fault of it. */
export function createSipGateway(raw: unknown, deps: SipGatewayDeps): SipGateway {
  return new SipGateway(readSipConfig(raw), deps)
}

function passwordOf({ name, auth }: SipConfig, { secret }: SipGatewayDeps): string | undefined {
  if (!auth) return undefined
  const password = secretOf(name, auth.password, secret)
  // These would end the value in the engine's file of accounts.
  return /[;<>\s]/.test(password)
    ? badInput(
        auth.password.slice('env:'.length),
        'The password of a SIP account may hold no space, semicolon or angle bracket.',
      )
    : password
}

function outcomeOfError(error: unknown): SendOutcome {
  if (error instanceof TrunkFault) return error.outcome
  if (error instanceof EngineMissing) return { kind: 'misconfigured', code: 'no-baresip' }
  if (error instanceof SpeechFault) return { kind: 'later', code: 'no-speech' }
  return { kind: 'later', code: 'engine' }
}
