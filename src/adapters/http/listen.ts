import { createServer, type RequestListener, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'

export interface Listening {
  url: string
  /** No new connections; requests in progress are answered. */
  stop(): Promise<void>
}

/** Serves `app` with limits that keep slow or idle clients from holding it. */
export async function listen(app: RequestListener, host: string, port: number): Promise<Listening> {
  const server = createServer(app)
  server.requestTimeout = 30_000
  server.headersTimeout = 10_000
  // Longer than proxies and clients keep theirs, so that it is never we who close a connection they are about to use.
  server.keepAliveTimeout = 75_000
  await new Promise<void>((done, fail) => server.once('error', fail).listen(port, host, done))
  const { port: given } = server.address() as AddressInfo
  return { url: `http://${host.includes(':') ? `[${host}]` : host}:${given}`, stop: () => closeServer(server) }
}

function closeServer(server: Server): Promise<void> {
  return new Promise((done) => {
    server.close(() => done())
    server.closeIdleConnections()
  })
}
