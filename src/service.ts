import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import type { Router } from 'express'
import { createApp } from './adapters/http/app.ts'
import type { Composed } from './compose.ts'
import type { Config } from './config.ts'
import { hearReply } from './flows/hear-reply.ts'
import { sendMessage } from './flows/send-message.ts'
import { resetAlarms, sweep } from './flows/sweep.ts'
import { takeReceipt } from './flows/take-receipt.ts'

export type Role = 'web' | 'worker' | 'all'

export interface Running {
  /** Address of the pages; empty for a worker. */
  url: string
  stop(): Promise<void>
}

/** Starts the parts that a role needs, and returns how to stop them: no new work, sends in flight are finished. */
export async function startService(config: Config, composed: Composed, role: Role, extra?: Router): Promise<Running> {
  const stops: (() => Promise<void>)[] = []
  await startGateways(composed, role)
  if (role !== 'web') stops.push(await startWorker(config, composed))
  let url = ''
  if (role !== 'worker') {
    const web = await startWeb(config, composed, extra)
    url = web.url
    stops.unshift(web.stop)
  }
  return { url, stop: async () => { for (const stop of stops) await stop() } }
}

/** Gateways hear replies and receipts in every role: webhooks arrive at the web, sockets at the worker. */
async function startGateways({ deps }: Composed, role: Role): Promise<void> {
  const ears = { heard: hearReply.bind(null, deps), receipt: takeReceipt.bind(null, deps) }
  for (const gateway of deps.gateways.values()) {
    if (role !== 'web' || 'callback' in gateway) await gateway.start(ears)
  }
}

async function startWorker(config: Config, { deps, log }: Composed): Promise<() => Promise<void>> {
  await deps.queue.start((alarm) => sendMessage(deps, alarm))
  await resetAlarms(deps)
  let sweeping: Promise<void> = Promise.resolve()
  let busy = false
  const run = () => {
    if (busy) return
    busy = true
    sweeping = sweep(deps)
      .catch((error: Error) => log.error({ name: error.name, stack: error.stack?.split('\n').slice(1, 6) }, 'sweep failed'))
      .finally(() => (busy = false))
  }
  // No timer: whoever drives the clock sweeps too.
  const timer = config.sweepSeconds > 0 ? setInterval(run, config.sweepSeconds * 1000) : undefined
  if (timer) run()
  return async () => {
    clearInterval(timer)
    await sweeping
    await deps.queue.stop()
    for (const gateway of deps.gateways.values()) await gateway.stop()
  }
}

async function startWeb(config: Config, { deps, log, news }: Composed, extra?: Router): Promise<Running> {
  const ready = async () => (await deps.store.read.clinics.list()) !== undefined
  const app = createApp({ deps, log, news, apiKey: config.apiKey, ready, ...(extra && { extra }) })
  const server = createServer(app)
  server.requestTimeout = 30_000
  server.headersTimeout = 10_000
  // Longer than proxies and clients keep theirs, so that it is never we who close a connection they are about to use.
  server.keepAliveTimeout = 75_000
  await new Promise<void>((done, fail) => server.once('error', fail).listen(config.port, config.host, done))
  const { port } = server.address() as AddressInfo
  const name = config.host.includes(':') ? `[${config.host}]` : config.host
  return { url: `http://${name}:${port}`, stop: () => (news.close(), closeServer(server)) }
}

function closeServer(server: Server): Promise<void> {
  return new Promise((done) => {
    server.close(() => done())
    server.closeIdleConnections()
  })
}
