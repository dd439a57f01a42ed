import net from 'node:net'
import { Readable } from 'node:stream'
import tls from 'node:tls'
import SMTPConnection from 'nodemailer/lib/smtp-connection'
import type { SendOutcome } from '../../../flows/ports/gateway.ts'
import { EgressRefused, guardedLookup, isRefusedLiteral } from '../egress-guard.ts'
import { outcomeOf, type SmtpFault, type Step } from './fault-outcome.ts'

/** A server that takes letters, and who we are to it. */
export interface MailServer {
  host: string
  port: number
  mode: 'implicit' | 'starttls' | 'none'
  tls: { ca?: string; servername?: string }
  auth: { user: string; pass: string } | undefined
  connectMs: number
  answerMs: number
}

export interface Envelope {
  from: string
  to: string
}

type Done<T> = (error?: Error | null, result?: T) => void

const GOODBYE_MS = 2_000

/**
 * Hands one letter to the server, over a connection of its own: then each step is known, and with it whether the letter
 * may have been taken. Never throws for what the server does.
 */
export async function deliver(envelope: Envelope, letter: Buffer, server: MailServer): Promise<SendOutcome> {
  let step: Step = 'connect'
  let session: Session | undefined
  try {
    const socket = await connect(server)
    step = 'greeting'
    session = new Session(socket, server)
    await session.greet()
    step = 'login'
    if (server.auth && !session.asksWho) return { kind: 'misconfigured', code: 'auth-none' }
    if (server.auth) await session.login(server.auth)
    step = 'envelope'
    await session.send(envelope, letter, () => (step = 'content'))
    await session.quit()
    return { kind: 'accepted' }
  } catch (error) {
    if (error instanceof EgressRefused) return { kind: 'misconfigured', code: 'egress_refused' }
    return outcomeOf(step, error as SmtpFault)
  } finally {
    session?.close()
  }
}

/** Connects, to no address that a gateway never has. With `implicit` the certificate has been verified then. */
function connect({ host, port, mode, tls: secure, connectMs }: MailServer): Promise<net.Socket> {
  if (isRefusedLiteral(host)) return Promise.reject(new EgressRefused())
  const address = { host, port, lookup: guardedLookup() }
  const isSecure = mode === 'implicit'
  const socket = isSecure
    ? tls.connect({ ...address, servername: net.isIP(host) ? '' : host, ...secure })
    : net.connect(address)
  return new Promise((resolve, reject) => {
    const over = () => socket.destroy(fault('connect-timeout'))
    const patience = setTimeout(over, connectMs)
    const fail = (error: Error) => {
      clearTimeout(patience)
      reject(error)
    }
    socket.once('error', fail)
    socket.once(isSecure ? 'secureConnect' : 'connect', () => {
      clearTimeout(patience)
      socket.off('error', fail)
      resolve(socket)
    })
  })
}

/** What is said over one connection. Every step ends: by its answer, a fault, or our patience. */
class Session {
  readonly #connection: SMTPConnection
  readonly #answerMs: number
  readonly #broken: Promise<never>

  constructor(socket: net.Socket, { host, mode, tls: secure, answerMs }: MailServer) {
    this.#answerMs = answerMs
    const connection = new SMTPConnection({
      ...{ host, connection: socket, tls: secure },
      ...{ secure: mode === 'implicit', secured: mode === 'implicit' },
      ...{ requireTLS: mode === 'starttls', ignoreTLS: mode === 'none' },
      // Ours is kept here; these come after it and only let go of what is left.
      ...{ connectionTimeout: 2 * answerMs, greetingTimeout: 2 * answerMs, socketTimeout: 2 * answerMs },
      logger: false,
    })
    this.#connection = connection
    this.#broken = new Promise((_, reject) => {
      connection.on('error', reject)
      // Whoever waits for an answer may still be told more than that the connection has ended.
      connection.once('end', () => setImmediate(() => reject(fault('ECONNECTION'))))
    })
    this.#broken.catch(() => {})
  }

  /** Whether the server lets anybody sign in. */
  get asksWho(): boolean {
    return this.#connection.allowsAuth
  }

  /** Up to the moment when it can be told who we are: greeting, EHLO and STARTTLS. */
  greet(): Promise<unknown> {
    return this.#step('greeting-timeout', (done) => this.#connection.connect(done))
  }

  login(auth: NonNullable<MailServer['auth']>): Promise<unknown> {
    return this.#step('answer-timeout', (done) => this.#connection.login(auth, done))
  }

  /** @param begins told right before the first word of the letter is written */
  send(envelope: Envelope, letter: Buffer, begins: () => void): Promise<unknown> {
    return this.#step('answer-timeout', (done, again) => {
      const content = function* () {
        begins()
        again()
        yield letter
      }
      this.#connection.send(envelope, Readable.from(content()), done)
    })
  }

  /** Says goodbye, whether it is heard or not. */
  quit(): Promise<unknown> {
    const goodbye = (done: Done<void>) => {
      this.#connection.once('end', () => done())
      this.#connection.quit()
    }
    return this.#step('goodbye', goodbye, GOODBYE_MS).catch(() => {})
  }

  close(): void {
    this.#connection.close()
  }

  #step<T>(code: string, ask: (done: Done<T>, again: () => void) => void, ms = this.#answerMs): Promise<T | undefined> {
    return new Promise<T | undefined>((resolve, reject) => {
      // What has come meanwhile is heard first: this process may have stood still, and not the server.
      const over = () => setImmediate(() => end(() => reject(fault(code))))
      const patience = setTimeout(over, ms)
      const end = (tell: () => void) => {
        clearTimeout(patience)
        tell()
      }
      this.#broken.catch((error: Error) => end(() => reject(error)))
      ask(
        (error, result) => end(() => (error ? reject(error) : resolve(result))),
        () => void patience.refresh(),
      )
    })
  }
}

function fault(code: string): Error {
  return Object.assign(new Error(code), { code })
}
