import type { LongText, LongTexts } from '../../../flows/ports/gateway-memory.ts'
import type { Part, Piece } from './inbound.ts'

/** A reply in parts, by what the peer says of it. */
export interface Inbound {
  from: string
  to: string
}

export interface ReassemblyOptions {
  gateway: string
  texts: LongTexts
  now: () => Date
  newId: () => string
  /** Hears a text of which all that will come has come; missing pieces are undefined. */
  hear: (text: LongText, pieces: (Piece | undefined)[]) => Promise<void>
  /** How long a text waits for its missing pieces. */
  patienceMs: number
}

/** Whoever closed a text has heard it by then, or is gone. */
const HEARD_BY_MS = 10_000
/** A text whose gateway is no longer there is heard by another. */
const ORPHANED_MS = 3_600_000
/** So long a piece that the peer tells again is known, after its text was heard. */
const KNOWN_MS = 3_600_000

/**
 * Puts long replies together, in whatever order their pieces come and at whichever worker. A piece is acknowledged once
 * it is kept. A text that stays incomplete is heard with a gap: a person can make something of it.
 */
export class Reassembly {
  readonly #options: ReassemblyOptions

  constructor(options: ReassemblyOptions) {
    this.#options = options
  }

  /** Resolves when the piece may be acknowledged; rejects when it must be sent again. */
  async add({ from, to }: Inbound, { reference, total, number }: Part, piece: Piece): Promise<void> {
    const { gateway, texts, now, newId } = this.#options
    const name = { gateway, from, to, reference, total }
    const part = { octets: piece.octets.toString('hex'), coding: piece.dataCoding }
    for (const text of await texts.add({ name, number, part, at: now() }, newId())) await this.#hear(text)
  }

  /** Hears what has waited long enough, and what a crash left unheard. */
  async hearDue(): Promise<void> {
    const { gateway, texts, now, patienceMs } = this.#options
    const ago = (ms: number) => new Date(now().getTime() - ms)
    const until = { began: ago(patienceMs), closed: ago(HEARD_BY_MS), orphaned: ago(ORPHANED_MS) }
    for (const text of await texts.due(gateway, until, now())) await this.#hear(text)
    await texts.forgetHeard(ago(KNOWN_MS))
  }

  async #hear(text: LongText): Promise<void> {
    const { texts, now, hear } = this.#options
    const pieces = text.parts.map((part) =>
      part === null ? undefined : { octets: Buffer.from(part.octets, 'hex'), dataCoding: part.coding },
    )
    await hear(text, pieces)
    await texts.heard(text.id, now())
  }
}
