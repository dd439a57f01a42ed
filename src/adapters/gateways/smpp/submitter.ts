import type { Outgoing, SendOutcome, Turn } from '../../../flows/ports/gateway.ts'
import { NO_TURN, Turns, type HeldTurn } from '../turns.ts'
import { destinationOf, sourceOf } from './addresses.ts'
import type { BoundLink } from './bound-link.ts'
import type { Fields, Pdu } from './pdu.ts'
import { canonicalId } from './receipts.ts'
import { segmentsOf } from './segments.ts'
import type { Sending, SentBook } from './sent-book.ts'
import type { SmppConfig } from './smpp-config.ts'
import { refusal } from './status.ts'
import { validityPeriod } from './times.ts'

const MAX_PAUSE_MS = 30_000
/** How often the rest of a message is tried again once its first part is out. */
const REST_TRIES = 5

/** Sends messages over the link: cut into segments, through the window, at the pace the peer allows. */
export class Submitter {
  readonly #config: SmppConfig
  readonly #bound: BoundLink
  readonly #book: SentBook
  /** One for each part of a message. */
  readonly #turns: Turns
  readonly #underWay = new Set<Promise<unknown>>()
  #reference: number
  #pausedUntil = 0
  #pauseMs: number

  constructor(config: SmppConfig, bound: BoundLink, book: SentBook, random: () => number) {
    this.#config = config
    this.#bound = bound
    this.#book = book
    this.#turns = new Turns(config.window, config.ratePerSecond)
    this.#reference = Math.floor(random() * 256)
    this.#pauseMs = config.pauseMs
  }

  turnAtOnce(): Turn | undefined {
    return this.#turns.atOnce()
  }

  turn(until: AbortSignal): Promise<Turn | undefined> {
    return this.#turns.take(until)
  }

  async send(message: Outgoing, now: Date, given: Turn | undefined): Promise<SendOutcome> {
    const left = this.#pausedUntil - Date.now()
    if (left > 0) return { kind: 'throttled', code: 'paused', retryAfterMs: left }
    const turn = await this.#turns.thisOrSoon(given)
    return turn === undefined ? NO_TURN : this.#send(message, now, turn)
  }

  async #send(message: Outgoing, now: Date, turn: HeldTurn): Promise<SendOutcome> {
    const segments = segmentsOf(message.text, this.#config, this.#nextReference())
    const common = this.#commonFields(message, now)
    const sending = this.#book.open(message.id, segments.length)
    for (const [n, segment] of segments.entries()) {
      const fields = { ...common, ...segment }
      const submit = (turn: HeldTurn, mostMs?: number) => this.#submit(fields, sending, turn, mostMs)
      const outcome = n === 0 ? await submit(turn) : await this.#persist(submit)
      if (outcome.kind === 'accepted') continue
      await sending.kept()
      return outcome
    }
    const ref = await sending.kept()
    return ref === undefined ? { kind: 'accepted' } : { kind: 'accepted', ref }
  }

  /**
   * Resolves when every request now under way has been answered, so that a receipt that overtook its answer can be
   * matched.
   */
  async settled(): Promise<void> {
    await Promise.allSettled(this.#underWay)
  }

  #nextReference(): number {
    return (this.#reference = (this.#reference + 1) % 256)
  }

  #commonFields(message: Outgoing, now: Date): Fields {
    const { from, to, serviceType, validity, registeredDelivery } = this.#config
    const [source, destination] = [sourceOf(from), destinationOf(message.to, to)]
    return {
      service_type: serviceType,
      source_addr: source.address,
      source_addr_ton: source.ton,
      source_addr_npi: source.npi,
      destination_addr: destination.address,
      dest_addr_ton: destination.ton,
      dest_addr_npi: destination.npi,
      validity_period: validityPeriod(message.notAfter, now, validity),
      registered_delivery: registeredDelivery,
    }
  }

  /**
   * With one part out the message can no longer be sent again from the start: it is finished here, or its fate is
   * unknown.
   */
  async #persist(submit: (turn: HeldTurn, mostMs: number) => Promise<SendOutcome>): Promise<SendOutcome> {
    for (let tries = 0; tries < REST_TRIES; tries++) {
      const outcome = await submit(await this.#turns.take(), Infinity)
      if (outcome.kind !== 'throttled' && outcome.kind !== 'later') return outcome
      await new Promise((resume) => setTimeout(resume, Math.max(this.#pausedUntil - Date.now(), this.#config.pauseMs)))
    }
    return { kind: 'unknown', code: 'partly-sent' }
  }

  #submit(fields: Fields, sending: Sending, turn: HeldTurn, mostMs?: number): Promise<SendOutcome> {
    const exchange = async () => ((await turn.mayWrite(mostMs)) ? this.#exchange(fields, sending) : NO_TURN)
    const submitting = exchange().finally(() => {
      this.#underWay.delete(submitting)
      turn.release()
    })
    this.#underWay.add(submitting)
    return submitting
  }

  async #exchange(fields: Fields, sending: Sending): Promise<SendOutcome> {
    const { link, trouble } = this.#bound
    if (link === undefined) return trouble
    const note = (pdu: Pdu, isLate: boolean) => {
      const ref = typeof pdu.message_id === 'string' ? canonicalId(pdu.message_id, this.#config.ids.accept) : ''
      if (ref !== '') sending.accepted(ref, isLate)
    }
    const late = ({ pdu, status }: { pdu: Pdu; status: number }) => {
      if (status !== 0) return
      note(pdu, true)
      void sending.kept()
    }
    const reply = await link.request('submit_sm', fields, late)
    if (typeof reply === 'string') return { kind: 'unknown', code: reply === 'lost' ? 'link-lost' : 'no-answer' }
    if (reply.status === 0) note(reply.pdu, false)
    return this.#outcome(reply.status)
  }

  #outcome(status: number): SendOutcome {
    if (status === 0) {
      this.#pauseMs = this.#config.pauseMs
      return { kind: 'accepted' }
    }
    const outcome = refusal(status, this.#config.statuses)
    return outcome.kind === 'throttled' ? { ...outcome, retryAfterMs: this.#pause() } : outcome
  }

  /** The peer is asked for nothing for a while; requests already under way do not lengthen the pause. */
  #pause(): number {
    const now = Date.now()
    if (this.#pausedUntil <= now) {
      this.#pausedUntil = now + this.#pauseMs
      this.#pauseMs = Math.min(MAX_PAUSE_MS, this.#pauseMs * 2)
    }
    return this.#pausedUntil - now
  }
}
