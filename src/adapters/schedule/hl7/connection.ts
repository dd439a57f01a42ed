import type { Socket } from 'node:net'
import { setImmediate as othersTurn } from 'node:timers/promises'
import type { Answering } from './answering.ts'
import { frame, Framer, type Framed } from './mllp.ts'

export interface Limits {
  /** Connections at once. */
  most: number
  /** Nothing was heard for so long: who sends again connects again. */
  idleMs: number
  /** A frame that began must have ended after so long. */
  frameMs: number
  /** The other side may take so long to take an answer, or to hang up. */
  closeMs: number
}

export const LIMITS: Limits = { most: 1_000, idleMs: 3_600_000, frameMs: 60_000, closeMs: 5_000 }

/**
 * One sender's connection. Its messages are taken one after the other, and nothing more is read meanwhile: whoever
 * sends faster than that waits at its own end.
 */
export class Connection {
  readonly #socket: Socket
  readonly #answering: Answering
  readonly #limits: Limits
  readonly #framer = new Framer()
  readonly #closed: Promise<void>
  #frameBegan: number | null = null
  #timer: NodeJS.Timeout | undefined
  #isBusy = false
  #isStopping = false
  #isClosing = false
  #answered = 0

  constructor(socket: Socket, answering: Answering, limits: Limits) {
    this.#socket = socket
    this.#answering = answering
    this.#limits = limits
    this.#closed = new Promise((done) => socket.once('close', () => (clearTimeout(this.#timer), done())))
    socket.setNoDelay(true)
    socket.setKeepAlive(true, 60_000)
    socket.setTimeout(limits.idleMs, () => !this.isBusy && this.#close())
    // What is wrong with a connection is told by its end.
    socket.on('error', () => {})
    socket.on('data', (chunk) => {
      if (!this.#isClosing) void this.#hear(this.#framer.push(chunk))
    })
    // Who has said everything may still listen for the answer.
    socket.on('end', () => void this.#heardAll())
  }

  /** Whether it must not be closed for another: something of it is in hand, or it is on its way out. */
  get isBusy(): boolean {
    return this.#isBusy || this.#isClosing
  }

  /** Whether a message ever came over it. */
  get isProven(): boolean {
    return this.#answered > 0
  }

  get closed(): Promise<void> {
    return this.#closed
  }

  /** What is in hand is taken and answered; what came behind it is to be sent again. */
  stop(): Promise<void> {
    this.#isStopping = true
    if (!this.#isBusy) this.#close()
    return this.#closed
  }

  /** For another that is waiting to be let in. */
  drop(): void {
    this.#isClosing = true
    this.#socket.destroy()
  }

  async #hear(found: readonly Framed[]): Promise<void> {
    this.#socket.pause()
    this.#isBusy = true
    clearTimeout(this.#timer)
    for (const framed of found) {
      await this.#answer(framed)
      // The embedded database answers without ever letting go of the process.
      await othersTurn()
    }
    this.#isBusy = false
    if (this.#isStopping) return this.#close()
    this.#watch(found.length > 0)
    this.#socket.resume()
  }

  async #answer(framed: Framed): Promise<void> {
    const acks = await this.#answering(framed, this.#isStopping)
    if (acks.length > 0) this.#answered++
    for (const ack of acks) await this.#send(frame(ack))
  }

  /** One that does not take its answers is not waited for. */
  async #send(bytes: Uint8Array): Promise<void> {
    const socket = this.#socket
    if (socket.destroyed || socket.write(bytes)) return
    const timer = setTimeout(() => socket.destroy(), this.#limits.closeMs)
    await Promise.race([new Promise((done) => socket.once('drain', done)), this.#closed])
    clearTimeout(timer)
  }

  /** However slowly its bytes come, a frame must end. */
  #watch(isAnother: boolean): void {
    if (!this.#framer.within) return void (this.#frameBegan = null)
    const now = performance.now()
    if (isAnother || this.#frameBegan === null) this.#frameBegan = now
    const left = this.#limits.frameMs - (now - this.#frameBegan)
    this.#timer = setTimeout(() => void this.#heardAll(), Math.max(0, left)).unref()
  }

  async #heardAll(): Promise<void> {
    if (this.#isClosing) return
    await this.#hear(this.#framer.end())
    this.#close()
  }

  /** What the other side still sends is taken from the line, unread: else its end would lose our last answer too. */
  #close(): void {
    if (this.#isClosing) return
    this.#isClosing = true
    clearTimeout(this.#timer)
    this.#socket.end()
    this.#socket.resume()
    const timer = setTimeout(() => this.#socket.destroy(), this.#limits.closeMs)
    void this.#closed.then(() => clearTimeout(timer))
  }
}
