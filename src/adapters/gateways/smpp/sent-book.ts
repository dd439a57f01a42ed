import { setTimeout as pause } from 'node:timers/promises'
import type { PartStates, SentParts } from '../../../flows/ports/gateway-memory.ts'
import type { Receipt } from '../../../flows/ports/gateway.ts'
import type { ReceiptFacts } from './receipts.ts'

export type Verdict = Pick<Receipt, 'messageId' | 'ref' | 'state' | 'code'>
type FinalFacts = ReceiptFacts & { state: Receipt['state'] }

export interface SentBookOptions {
  gateway: string
  parts: SentParts
  now: () => Date
  newId: () => string
  /** Told what became of a message. */
  tell: (verdict: Verdict) => Promise<void>
}

const MOST = 200_000
/** A database that is away for a moment is waited for: the part is out already. */
const TRIES = 5
const BETWEEN_TRIES_MS = 1_000
/** Whoever heard the last receipt has told of it by then, or is gone. */
const TOLD_BY_MS = 10_000
const STRAY_MS = 600_000

/**
 * Which of the peer's ids belong to which message. A message of several parts is delivered when all of them are, and
 * undelivered when one is not; its parts are kept, so that their receipts may come after a restart or at another
 * worker. A message of one part goes by the peer's id, which is kept with it; what was sent here lately is known
 * without asking.
 */
export class SentBook {
  readonly #options: SentBookOptions
  readonly #known = new Map<string, { messageId: string; alone: boolean }>()
  readonly #judging = new Map<string, Promise<void>>()

  constructor(options: SentBookOptions) {
    this.#options = options
  }

  open(messageId: string, parts: number): Sending {
    const known = (ref: string) => this.#note(ref, { messageId, alone: parts === 1 })
    return new Sending(this.#options, { messageId, parts, known, judge: (sending) => this.#judge(sending) })
  }

  /** Whether it was sent by this process. */
  knows(ref: string): boolean {
    return this.#known.has(ref)
  }

  /** Takes a final receipt of one part. Resolves when what follows for its message is stored. */
  async take({ ref, state, code }: FinalFacts): Promise<void> {
    const { gateway, parts, now, tell } = this.#options
    const why = code === undefined || state === 'delivered' ? {} : { code }
    const known = this.#known.get(ref)
    if (known?.alone) return tell({ messageId: known.messageId, ref, state, ...why })
    const sending = await parts.told({ gateway, ref, state, ...why, at: now() })
    return sending === undefined ? tell({ ref, state, ...why }) : this.#judge(sending)
  }

  /** Tells what a crash left untold. */
  async tellDue(): Promise<void> {
    const { gateway, parts, now } = this.#options
    const ago = (ms: number) => new Date(now().getTime() - ms)
    for (const sending of await parts.untold(gateway, ago(TOLD_BY_MS))) await this.#judge(sending)
    await parts.forgetStray(ago(STRAY_MS))
  }

  /** One at a time for each sending, so that receipts that come at once are told of once. */
  async #judge(sending: string): Promise<void> {
    const before = this.#judging.get(sending)
    const judging = Promise.resolve(before?.catch(() => {})).then(() => this.#judgeNow(sending))
    this.#judging.set(sending, judging)
    await judging.finally(() => {
      if (this.#judging.get(sending) === judging) this.#judging.delete(sending)
    })
  }

  async #judgeNow(sending: string): Promise<void> {
    const { parts, tell } = this.#options
    const states = await parts.ofSending(sending)
    const verdict = states && verdictOn(states)
    if (verdict === undefined) return
    await tell(verdict)
    if (verdict.state === 'delivered') await parts.done(sending)
  }

  #note(ref: string, known: { messageId: string; alone: boolean }): void {
    this.#known.set(ref, known)
    if (this.#known.size > MOST) this.#known.delete(this.#known.keys().next().value!)
  }
}

/** What the receipts of its parts say about a message; undefined while others are awaited. */
function verdictOn({ messageId, parts, known }: PartStates): Verdict | undefined {
  const failed = known.find(({ state }) => state === 'undelivered')
  if (failed) return { messageId, ...failed }
  return known.length >= parts ? { messageId, state: 'delivered' } : undefined
}

interface Attempt {
  messageId: string
  parts: number
  known: (ref: string) => void
  judge: (sending: string) => Promise<void>
}

/** One attempt to send a message. */
export class Sending {
  readonly #options: SentBookOptions
  readonly #attempt: Attempt
  readonly #id: string
  readonly #refs: string[] = []
  #keeping: Promise<boolean>[] = []

  constructor(options: SentBookOptions, attempt: Attempt) {
    this.#options = options
    this.#attempt = attempt
    this.#id = options.newId()
  }

  /** The peer took a part. What is kept elsewhere, with the message, need not be kept here: one part, told in time. */
  accepted(ref: string, isLate: boolean): void {
    const { messageId, parts, known } = this.#attempt
    const { gateway, parts: kept, now } = this.#options
    known(ref)
    this.#refs.push(ref)
    if (parts === 1 && !isLate) return
    const part = { gateway, ref, sending: this.#id, messageId, parts, at: now() }
    this.#keeping.push(persistently(() => kept.accepted(part)))
  }

  /**
   * Resolves when all that was accepted is kept, and what receipts said that came before is told.
   * @returns the peer's id of the message; of several parts all their ids, which is no id that a receipt could name
   */
  async kept(): Promise<string | undefined> {
    const found = await Promise.all(this.#keeping.splice(0))
    if (found.some((isTold) => isTold)) await this.#attempt.judge(this.#id).catch(() => {}) // told again when due
    return this.#refs.length === 0 ? undefined : this.#refs.join('+')
  }
}

async function persistently(keep: () => Promise<boolean>): Promise<boolean> {
  for (let tries = 1; ; tries++) {
    try {
      return await keep()
    } catch {
      if (tries === TRIES) return false
      await pause(BETWEEN_TRIES_MS)
    }
  }
}
