import { readFile } from 'node:fs/promises'
import { createServer, type AddressInfo, type Server, type Socket } from 'node:net'
import { createSecureContext, createServer as createTlsServer, type TlsOptions } from 'node:tls'
import type { Logger } from 'pino'
import { Failure } from '../../../domain/failure.ts'
import type { FeedMetrics } from '../../metrics/feed-metrics.ts'
import type { Answering } from './answering.ts'
import { Connection, LIMITS, type Limits } from './connection.ts'

export interface ListenerSettings {
  host: string
  port: number
  /** Files in PEM; with them TLS is spoken. */
  cert?: string | undefined
  key?: string | undefined
  /** Who is not vouched for by these is refused in the handshake. */
  clientCa?: string | undefined
}

export interface Listener {
  port: number
  /** No new connections; what is in hand is finished and answered. */
  stop(): Promise<void>
}

interface Around {
  log: Logger
  metrics: FeedMetrics
}

const HANDSHAKE_MS = 10_000

/**
 * Takes messages over MLLP, with TLS where there is a certificate.
 * @throws bad-config where certificate and key cannot be used; the system's error of a file or the port
 */
export async function startListener(
  settings: ListenerSettings,
  answering: Answering,
  { log, metrics }: Around,
  limits: Limits = LIMITS,
): Promise<Listener> {
  const open = new Set<Connection>()
  const accept = (socket: Socket) => {
    const tooMany = open.size >= limits.most
    if (tooMany && !makeRoom(open)) {
      log.warn({ connections: open.size }, 'all connections are busy: one more was refused')
      return void socket.destroy()
    }
    const connection = new Connection(socket, answering, limits)
    open.add(connection)
    metrics.connections(open.size)
    log.debug({ from: socket.remoteAddress }, 'a sender connected')
    void connection.closed.then(() => {
      open.delete(connection)
      metrics.connections(open.size)
    })
  }
  const server = await serverOf(settings, accept, log)
  // Room for those that are still shaking hands.
  server.maxConnections = limits.most * 2
  const port = await listening(server, settings)
  return {
    port,
    stop: async () => {
      const closed = new Promise<void>((done) => server.close(() => done()))
      await Promise.all([...open].map((connection) => connection.stop()))
      await closed
    },
  }
}

/** The one that has been there longest without a message, else the oldest; one in the middle of its work stays. */
function makeRoom(open: ReadonlySet<Connection>): boolean {
  const idle = [...open].filter(({ isBusy }) => !isBusy)
  const longest = idle.find(({ isProven }) => !isProven) ?? idle[0]
  longest?.drop()
  return longest !== undefined
}

async function serverOf(settings: ListenerSettings, accept: (socket: Socket) => void, log: Logger): Promise<Server> {
  if (settings.cert === undefined || settings.key === undefined) return createServer({ allowHalfOpen: true }, accept)
  const server = createTlsServer({ ...(await tlsOf(settings)), allowHalfOpen: true }, accept)
  server.on('tlsClientError', (error: Error & { code?: string }, socket) => {
    log.info({ from: socket.remoteAddress, code: error.code }, 'a sender was refused in the handshake')
    socket.destroy()
  })
  return server
}

async function tlsOf({ cert, key, clientCa }: ListenerSettings): Promise<TlsOptions> {
  const [ownCert, ownKey, ca] = await Promise.all(
    [cert, key, clientCa].map((path) => (path === undefined ? undefined : readFile(path))),
  )
  const own = usable('MLLP_CERT', `${cert} and ${key} are no certificate and its key`, { cert: ownCert, key: ownKey })
  const asked = ca && usable('MLLP_CLIENT_CA', `${clientCa} holds no certificate`, { ca })
  return {
    ...{ ...own, ...asked, minVersion: 'TLSv1.2', handshakeTimeout: HANDSHAKE_MS },
    ...(asked && { requestCert: true, rejectUnauthorized: true }),
  }
}

/** As they are, where OpenSSL can read them: it says why not in words that help nobody. */
function usable(setting: string, what: string, options: TlsOptions): TlsOptions {
  try {
    createSecureContext(options)
    return options
  } catch {
    throw new Failure('bad-config', { field: setting, message: `${setting}: ${what}, in PEM.\nName the right files.` })
  }
}

async function listening(server: Server, { host, port }: ListenerSettings): Promise<number> {
  await new Promise<void>((done, fail) => {
    server.once('error', (error) => fail(Object.assign(error, { settings: 'MLLP_' })))
    server.listen(port, host, () => done())
  })
  server.on('error', () => {})
  return (server.address() as AddressInfo).port
}
