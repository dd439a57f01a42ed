import { Duplex } from 'node:stream'
import type { PGlite } from '@electric-sql/pglite'
import pg from 'pg'

/**
 * The one session of an embedded PostgreSQL, spoken to by the same client as a server. PGlite's own way of asking calls
 * into it five times for each statement, and reads values otherwise than the client does; so everything that is asked at
 * once is handed over in one call, and a value reads the same on either store.
 */
export async function sessionOf(pglite: PGlite): Promise<pg.Client> {
  const session = new pg.Client({ stream: () => new Wire(pglite), pipeline: true, user: 'postgres', database: 'postgres', ssl: false })
  // What is wrong with the wire fails for whoever asked; unheard, the event would end the process.
  session.on('error', () => {})
  await session.connect()
  return session
}

/** Bytes of PostgreSQL's protocol, in and out, without a network. */
class Wire extends Duplex {
  readonly #pglite: PGlite

  constructor(pglite: PGlite) {
    super()
    this.#pglite = pglite
  }

  connect(): this {
    setImmediate(() => this.emit('connect'))
    return this
  }

  override _read(): void {}

  override _write(bytes: Buffer, _encoding: BufferEncoding, done: (error?: Error) => void): void {
    this.#hand(bytes, done)
  }

  override _writev(chunks: { chunk: Buffer }[], done: (error?: Error) => void): void {
    this.#hand(Buffer.concat(chunks.map(({ chunk }) => chunk)), done)
  }

  /**
   * The answer is there at once, but whoever asks is not ready for it before its own work is done. It is taken as it
   * comes: PGlite would read it for itself otherwise, and never let go of what it has read.
   */
  #hand(bytes: Buffer, done: (error?: Error) => void): void {
    process.nextTick(() => {
      const answer: Uint8Array[] = []
      // What is told here lies in memory that PGlite uses again.
      const onRawData = (part: Uint8Array) => void answer.push(part.slice())
      const told = this.#pglite.execProtocolRawStream(bytes, { syncToFs: false, onRawData })
      if (answer.length > 0) this.push(Buffer.concat(answer))
      told.then(() => done(), done)
    })
  }

  // A network connection has these; here there is nothing to set.
  setNoDelay(): this {
    return this
  }
  setKeepAlive(): this {
    return this
  }
  ref(): this {
    return this
  }
  unref(): this {
    return this
  }
}
