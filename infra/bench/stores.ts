import { fork, type ChildProcess } from 'node:child_process'
import { randomUUID } from 'node:crypto'
import pg from 'pg'
import { loadConfig, type Config } from '../../src/config.ts'

export type StoreName = 'embedded' | 'PostgreSQL' | 'PostgreSQL + Redis'

export interface BenchStore {
  name: StoreName
  config: Config
  close(): Promise<void>
}

const LOOPBACK = new URL('loopback-gateway.ts', import.meta.url).pathname

/**
 * The stores that can be had here: those on servers where `infra/ci/services.sh start` has told of them.
 * @param wanted their names; all of them without it
 */
export async function benchStores(gatewaysDir: string, wanted?: readonly string[]): Promise<BenchStore[]> {
  const isWanted = (name: StoreName) => wanted === undefined || wanted.includes(name)
  const { TEST_DATABASE_URL: server, TEST_REDIS_URL: redis } = process.env
  const base = {
    NODE_ENV: 'test',
    LOG_LEVEL: 'silent',
    GATEWAYS_DIR: gatewaysDir,
    DAYSIX_KEY: Buffer.alloc(32, 7).toString('base64'),
    PUBLIC_URL: 'http://127.0.0.1:9',
  }
  const stores: BenchStore[] = []
  if (isWanted('embedded'))
    stores.push({ name: 'embedded', config: { ...loadConfig(base), sweepSeconds: 0 }, close: async () => {} })
  if (server && isWanted('PostgreSQL')) stores.push(await onServer('PostgreSQL', server, base))
  if (server && redis && isWanted('PostgreSQL + Redis'))
    stores.push(await onServer('PostgreSQL + Redis', server, { ...base, REDIS_URL: `${redis}/5` }))
  if (!server || !redis) console.log('  (for PostgreSQL and Redis: eval "$(infra/ci/services.sh start)")')
  return stores
}

async function onServer(name: StoreName, server: string, environment: Record<string, string>): Promise<BenchStore> {
  const database = `daysix_bench_${randomUUID().slice(0, 8)}`
  const asAdmin = async (sql: string) => {
    const admin = new pg.Client(server)
    await admin.connect()
    await admin.query(sql)
    await admin.end()
  }
  await asAdmin(`create database ${database}`)
  const url = new URL(server)
  url.pathname = `/${database}`
  const config = { ...loadConfig({ ...environment, DATABASE_URL: url.href }), sweepSeconds: 0 }
  return { name, config, close: () => asAdmin(`drop database ${database} with (force)`) }
}

/** Starts the loopback network. @returns its address and how to end it */
export async function loopbackGateway(): Promise<{ url: string; stop: () => void }> {
  const child: ChildProcess = fork(LOOPBACK, { execArgv: ['--import', 'tsx'] })
  const port = await new Promise<number>((done) => child.once('message', (message) => done(message as number)))
  return { url: `http://127.0.0.1:${port}/messages`, stop: () => void child.kill() }
}

/** The description of the loopback network for the service. */
export function describedLoopback(url: string): string {
  const value = { id: '{our_id}', to: '{to}', text: '{text}', notAfter: '{not_after}' }
  return JSON.stringify({
    kind: 'http',
    name: 'loopback',
    maxConnections: 100,
    request: { method: 'POST', url, body: { as: 'json', value } },
    ref: 'json:ref',
  })
}
