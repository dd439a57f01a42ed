import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { createApp } from '../../src/adapters/http/app.ts'
import type { TestWorld } from './world.ts'

export interface Answered {
  status: number
  headers: Headers
  // eslint-disable-next-line @typescript-eslint/no-explicit-any -- tests look into answers freely
  body: any
}

/** The real HTTP service over a test world, on a free port of the loopback. */
export async function serveApi(world: TestWorld, apiKey?: string) {
  const { deps, log, news, wording } = world.composed
  const app = createApp({ deps, log, news, wording, apiKey, ready: async () => ({ database: true }) })
  // No connection is closed for being idle: while virtual time passes, this process may stand still for as long.
  const server = createServer({ keepAliveTimeout: 0 }, app)
  await new Promise<void>((done) => server.listen(0, '127.0.0.1', done))
  const base = `http://127.0.0.1:${(server.address() as AddressInfo).port}`

  async function call(
    method: string,
    path: string,
    body?: unknown,
    headers: Record<string, string> = {},
  ): Promise<Answered> {
    const response = await fetch(base + path, {
      method,
      headers: { ...(body !== undefined && { 'Content-Type': 'application/json' }), ...headers },
      ...(body !== undefined && { body: typeof body === 'string' ? body : JSON.stringify(body) }),
    })
    const text = await response.text()
    return { status: response.status, headers: response.headers, body: text === '' ? null : JSON.parse(text) }
  }

  return {
    base,
    get: (path: string, headers?: Record<string, string>) => call('GET', path, undefined, headers),
    post: (path: string, body: unknown, headers?: Record<string, string>) => call('POST', path, body, headers),
    put: (path: string, body: unknown) => call('PUT', path, body),
    patch: (path: string, body: unknown) => call('PATCH', path, body),
    delete: (path: string) => call('DELETE', path),
    close: () => new Promise<void>((done) => (server.close(() => done()), server.closeAllConnections())),
  }
}
