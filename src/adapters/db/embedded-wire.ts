import { Duplex } from 'node:stream'
import type { PGlite } from '@electric-sql/pglite'
import pg from 'pg'

/**
 * The one session of an embedded PostgreSQL, spoken to by the same client as a server. PGlite's own way of asking calls
 * into it five times for each statement, and reads values otherwise than the client does; so everything that is asked
 * at once is handed over in one call, and a value reads the same on either store.
 */
export async function sessionOf(pglite: PGlite): Promise<pg.Client> {
  const session = new pg.Client({
    stream: () => new Wire(pglite),
    pipeline: true,
    user: 'postgres',
    database: 'postgres',
    ssl: false,
  })
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
   * The answer is there at once, but whoever asks is not ready for it before its own work is done. It is taken as a
   * stream of octets: of an answer that PGlite hands over whole it reads every message for itself, and keeps them all
   * for ever.
   */
  #hand(bytes: Buffer, done: (error?: Error) => void): void {
    const answer: Buffer[] = []
    const onRawData = (octets: Uint8Array) => void answer.push(Buffer.from(octets))
    const answered = () => {
      if (answer.length > 0) this.push(Buffer.concat(answer))
      done()
    }
    process.nextTick(
      () => void this.#pglite.execProtocolRawStream(bytes, { syncToFs: false, onRawData }).then(answered, done),
    )
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
