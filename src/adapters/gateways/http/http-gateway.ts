import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type {
  Callback,
  CallbackGateway,
  InboundHandlers,
  InboundMessage,
  Outgoing,
  Receipt,
  SendOutcome,
  Turn,
} from '../../../flows/ports/gateway.ts'
import { Failure } from '../../../domain/failure.ts'
import { measureSms } from '../../../domain/messages/texts/sms.ts'
import { InFlight } from '../in-flight.ts'
import { NO_TURN, Turns } from '../turns.ts'
import { addressesOf } from './addresses.ts'
import { requestBuilder, type BuildRequest } from './build-request.ts'
import { connections, exchange } from './exchange.ts'
import { readHttpConfig, secretNames, type HttpConfig, type ReceiptMapping, type ReplyMapping } from './http-config.ts'
import { Letter } from './letter.ts'
import { answerReader, type ReadAnswer } from './read-answer.ts'
import { receiptReader, replyReader, type ReadCallback } from './read-callback.ts'
import type { Fields, Secrets } from './template.ts'
import { callbackVerifier, type Verify } from './verify-callback.ts'

export interface HttpGatewayDeps {
  clock: { now(): Date }
  /** Resolves the NAME of an `env:NAME`; undefined where there is none. */
  secret: (name: string) => string | undefined
  /** Where the peer reaches this gateway, `https://clinic.example/gateways/NAME`; `/receipt` and `/reply` are added. */
  callbackUrl?: string
  /** Put into these addresses as `via`, where several gateways share them. */
  via?: string
  /** Fields of a call, where the peer calls. */
  callFields?: (message: Outgoing) => Fields
}

type Answer = Awaited<ReturnType<CallbackGateway['callback']>>

/** One kind of callback made ready: who may send it, how it is read, where it goes, what is answered. */
interface Desk {
  verify: Verify
  deliver: (letter: Letter, now: Date, ears: InboundHandlers) => Promise<'stored' | 'nonsense'>
  reply: Answer
}

const MAX_CALLBACK_BYTES = 64 * 1024

class HttpGateway implements CallbackGateway {
  readonly name: string
  readonly channels: HttpConfig['channels']
  readonly onUnknown: HttpConfig['onUnknown']
  readonly receipts: boolean
  readonly #config: HttpConfig
  readonly #deps: HttpGatewayDeps
  readonly #build: BuildRequest
  readonly #read: ReadAnswer
  readonly #desks: Partial<Record<Callback['path'], Desk>>
  readonly #addresses: Fields
  readonly #inFlight = new InFlight()
  readonly #turns: Turns
  #agent: ReturnType<typeof connections> | undefined
  #ears: InboundHandlers | undefined

  constructor(config: HttpConfig, deps: HttpGatewayDeps) {
    const secrets = secretsOf(config, deps.secret)
    this.#config = config
    this.#deps = deps
    this.name = config.name
    this.channels = config.channels
    this.onUnknown = config.onUnknown
    this.receipts = config.receipts !== undefined
    this.#turns = new Turns(config.maxConnections, config.ratePerSecond)
    this.#build = requestBuilder(config.request, secrets)
    this.#read = answerReader(config)
    this.#desks = desksOf(config, secrets)
    this.#addresses = addressesOf(config, deps, secrets)
  }

  async start(ears: InboundHandlers): Promise<void> {
    this.#ears = ears
    this.#agent = connections(new URL(this.#config.request.url).protocol, this.#config.maxConnections)
  }

  turnAtOnce(): Turn | undefined {
    return this.#turns.atOnce()
  }

  turn(_channel: Channel, until: AbortSignal): Promise<Turn | undefined> {
    return this.#turns.take(until)
  }

  send(message: Outgoing, turn?: Turn): Promise<SendOutcome> {
    return this.#inFlight.run(() => this.#send(message, turn))
  }

  async stop(): Promise<void> {
    const agent = this.#agent
    this.#agent = undefined
    await this.#inFlight.settled()
    agent?.destroy()
    this.#ears = undefined
  }

  async callback(callback: Callback): Promise<Answer> {
    const desk = this.#desks[callback.path]
    if (desk === undefined) return { status: 404, body: '' }
    if (callback.body.length > MAX_CALLBACK_BYTES) return { status: 413, body: '' }
    const now = this.#deps.clock.now()
    if (!desk.verify(callback, now)) return { status: 401, body: '' }
    if (this.#ears === undefined) return { status: 503, body: '' }
    return this.#hear(desk, new Letter(queryOf(callback), callback.headers, callback.body), now, this.#ears)
  }

  async #hear(desk: Desk, letter: Letter, now: Date, ears: InboundHandlers): Promise<Answer> {
    try {
      return (await desk.deliver(letter, now, ears)) === 'stored' ? desk.reply : { status: 400, body: '' }
    } catch {
      return { status: 503, body: '' } // it could not be stored: the peer should tell it again
    }
  }

  async #send(message: Outgoing, given: Turn | undefined): Promise<SendOutcome> {
    const agent = this.#agent
    if (agent === undefined) return { kind: 'later', code: 'not-started' }
    if (message.notAfter <= this.#deps.clock.now()) return { kind: 'rejected', code: 'expired' }
    const turn = await this.#turns.thisOrSoon(given)
    try {
      return (await turn?.mayWrite()) ? await this.#order(message, agent) : NO_TURN
    } finally {
      turn?.release()
    }
  }

  async #order(message: Outgoing, agent: ReturnType<typeof connections>): Promise<SendOutcome> {
    const now = this.#deps.clock.now()
    const wire = this.#build(this.#fieldsOf(message, now), now)
    return this.#read(await exchange(wire, agent, this.#config.timeoutMs), this.#deps.clock.now())
  }

  #fieldsOf(message: Outgoing, now: Date): Fields {
    const { encoding, segments } = measureSms(message.text)
    const id = encodeURIComponent(message.id)
    return {
      to: message.to,
      to_no_plus: message.to.replace('+', ''),
      from: this.#config.from,
      text: message.text,
      language: message.language,
      encoding,
      coding: this.#config.codings[encoding],
      segments: String(segments),
      our_id: message.id,
      ...timesOf(message.notAfter, now),
      receipt_url: this.#addresses.receipt!.replace('{id}', id),
      reply_url: this.#addresses.reply!.replace('{id}', id),
      ...this.#deps.callFields?.(message),
    }
  }
}

/** A gateway described in a configuration instead of code: see `http-config.ts` for what can be said. */
export function createHttpGateway(raw: unknown, deps: HttpGatewayDeps): CallbackGateway {
  return new HttpGateway(readHttpConfig(raw), deps)
}

function timesOf(notAfter: Date, now: Date): Fields {
  return {
    validity_min: String(Math.max(1, Math.floor((notAfter.getTime() - now.getTime()) / 60_000))),
    not_after: notAfter.toISOString(),
    not_after_unix: String(Math.floor(notAfter.getTime() / 1000)),
    now: now.toISOString(),
    now_unix: String(Math.floor(now.getTime() / 1000)),
  }
}

function queryOf({ url }: Callback): string {
  const start = url.indexOf('?')
  return start < 0 ? '' : url.slice(start + 1)
}

/** Finds every secret before anything is sent, and names all that are missing. */
function secretsOf(config: HttpConfig, secret: HttpGatewayDeps['secret']): Secrets {
  const missing = [...new Set(secretNames(config))].filter((name) => !secret(name))
  if (missing.length > 0) {
    const faults = missing.map((name) => ({
      field: name,
      message: `Gateway ${config.name} needs ${name} in the environment.`,
    }))
    throw new Failure('bad-input', { message: faults.map((fault) => fault.message).join('\n'), faults })
  }
  return (name) => secret(name) ?? ''
}

function desksOf({ name, receipts, replies }: HttpConfig, secrets: Secrets): Partial<Record<Callback['path'], Desk>> {
  return {
    ...(receipts && {
      receipt: desk(receipts, secrets, receiptReader(receipts, name), (ears, receipt: Receipt) =>
        ears.receipt(receipt),
      ),
    }),
    ...(replies && {
      reply: desk(replies, secrets, replyReader(replies, name), (ears, heard: InboundMessage) => ears.message(heard)),
    }),
  }
}

function desk<T>(
  mapping: ReceiptMapping | ReplyMapping,
  secrets: Secrets,
  read: ReadCallback<T>,
  tell: (ears: InboundHandlers, fact: T) => Promise<void>,
): Desk {
  const { status, body, contentType } = mapping.reply
  return {
    verify: callbackVerifier(mapping.auth, secrets),
    reply: contentType === undefined ? { status, body } : { status, body, contentType },
    deliver: async (letter, now, ears) => {
      const facts = read(letter, now)
      for (const fact of facts ?? []) await tell(ears, fact)
      return facts === undefined ? 'nonsense' : 'stored'
    },
  }
}
