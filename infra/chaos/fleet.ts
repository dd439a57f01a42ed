import { execFile } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import pg from 'pg'
import type { Ledger } from './ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from './service-process.ts'

const run = promisify(execFile)
const SERVICES = new URL('../ci/services.sh', import.meta.url).pathname
const ENTRY = new URL('service.ts', import.meta.url).pathname

export type Stores = 'embedded' | 'postgres' | 'redis'

export interface Member {
  name: string
  /** Where it answers; null for a worker. */
  url: string | null
  process: ServiceProcess
  /** Its clock differs from the others' by so much. */
  skewMs: number
}

/** The service on several processes with stores of its own, and the ways to hurt it. */
export class Fleet {
  readonly members: Member[] = []
  readonly #folder: string
  readonly #stores: Stores
  readonly #ports: Record<string, string>
  databaseUrl: string | undefined

  private constructor(folder: string, stores: Stores, ports: Record<string, string>) {
    this.#folder = folder
    this.#stores = stores
    this.#ports = ports
  }

  static async start(stores: Stores, ledger: Ledger, onUnknown: 'resend' | 'ask-desk', offset: number): Promise<Fleet> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-chaos-'))
    await writeFile(join(folder, 'ledger.json'), ledger.description(onUnknown))
    const ports = { DAYSIX_SERVICES_DIR: join(folder, 'services'), DAYSIX_PG_PORT: String(await freePort()), DAYSIX_REDIS_PORT: String(await freePort()), DAYSIX_CLUSTER_PORTS: '' }
    // PostgreSQL runs under an account of its own and must be able to reach its folder.
    await run('chmod', ['755', folder])
    const fleet = new Fleet(folder, stores, ports)
    if (stores !== 'embedded') await fleet.#startStores()
    await fleet.#startMembers(ledger, offset)
    return fleet
  }

  async #startStores(): Promise<void> {
    await this.services('start')
    const server = `postgres://daysix@127.0.0.1:${this.#ports.DAYSIX_PG_PORT}`
    const admin = new pg.Client(`${server}/postgres`)
    await admin.connect()
    await admin.query('create database chaos')
    await admin.end()
    this.databaseUrl = `${server}/chaos`
  }

  async #startMembers(ledger: Ledger, offset: number): Promise<void> {
    const webPort = await freePort()
    const common = {
      ...ledger.environment,
      NODE_ENV: 'test',
      LOG_LEVEL: 'error',
      GATEWAYS_DIR: this.#folder,
      DATA_DIR: join(this.#folder, 'data'),
      DAYSIX_KEY: Buffer.alloc(32, 9).toString('base64'),
      PUBLIC_URL: `http://127.0.0.1:${webPort}`,
      SWEEP_SECONDS: '1',
      CHAOS_OFFSET: String(offset),
      ...(this.databaseUrl && { DATABASE_URL: this.databaseUrl }),
      ...(this.#stores === 'redis' && { REDIS_URL: `redis://127.0.0.1:${this.#ports.DAYSIX_REDIS_PORT}` }),
    }
    const roles = this.#stores === 'embedded' ? (['all'] as const) : (['web', 'web', 'worker', 'worker'] as const)
    for (const [index, role] of roles.entries()) {
      const port = index === 0 ? webPort : await freePort()
      const environment = { ...common, PORT: String(port), ...(role === 'worker' && { HEALTH_PORT: String(port) }) }
      const process = new ServiceProcess({ role, environment, entry: ENTRY })
      const member = { name: `${role}-${index}`, url: role === 'worker' ? null : `http://127.0.0.1:${port}`, process, skewMs: 0 }
      this.members.push(member)
      process.start()
      await eventually(`${member.name} is ready`, () => isReady(`http://127.0.0.1:${port}`), 120)
    }
  }

  /** Tells everyone the time. */
  setClock(offset: number): void {
    for (const { process, skewMs } of this.members) {
      process.setEnvironment('CHAOS_OFFSET', String(offset + skewMs))
      process.tell({ offset: offset + skewMs })
    }
  }

  get webs(): Member[] {
    return this.members.filter(({ url }) => url !== null)
  }

  get workersRun(): boolean {
    return this.members.some(({ name, process }) => !name.startsWith('web') && process.runs)
  }

  services(command: string): Promise<unknown> {
    return run(SERVICES, [command], { env: { ...process.env, ...this.#ports } })
  }

  async stop(): Promise<void> {
    await Promise.all(this.members.map(({ process }) => process.stop()))
  }

  /** Takes the stores down, and everything away. */
  async clear(): Promise<void> {
    await Promise.all(this.members.map(({ process }) => process.kill()))
    if (this.#stores !== 'embedded') await this.services('stop')
    await rm(this.#folder, { recursive: true, force: true })
  }

  get dataFolder(): string {
    return join(this.#folder, 'data')
  }
}
