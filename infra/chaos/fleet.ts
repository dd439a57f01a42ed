import { execFile } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import pg from 'pg'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Ask } from './audit.ts'
import type { Ledger } from './ledger.ts'
import { Room } from './room.ts'
import { ServiceProcess, TURN_LOG, eventually, freePort, isReady } from './service-process.ts'

const run = promisify(execFile)
const SERVICES = new URL('../ci/services.sh', import.meta.url).pathname
const ENTRY = new URL('service.ts', import.meta.url).pathname
/** As its unit file says. */
const RESTART_MS = 2_000
/** The room that the stores have: their first files, their log, and what a run adds. */
const ROOM_MEGABYTES = 320
/** The log may take this much of it before it is cut. */
const SMALL_LOG = [
  `alter system set max_wal_size = '64MB'`,
  `alter system set min_wal_size = '32MB'`,
  'select pg_reload_conf()',
]

export const STORES = ['embedded', 'postgres', 'redis'] as const
export type Stores = (typeof STORES)[number]

/** A claim that a process left behind when it was killed: its message may be with the network, or not. */
export interface Claim {
  id: string
  attempt: number
}

export interface Member {
  name: string
  /** Where it tells how it is. */
  health: string
  /** Where it answers; null for a worker. */
  url: string | null
  process: ServiceProcess
  /** Its clock differs from the others' by so much. */
  skewMs: number
  /** The id under which it claims messages, once it has said so. */
  worker: string | undefined
}

/** Seals the data of a run, which are invented. */
export const KEY = Buffer.alloc(32, 9).toString('base64')

/** The service on several processes with stores of its own, and the ways to hurt it. */
export class Fleet {
  readonly members: Member[] = []
  readonly #folder: string
  readonly #stores: Stores
  readonly #ports: Record<string, string>
  /** Where the stores live, if it can be filled up. */
  readonly room: Room | null
  databaseUrl: string | undefined
  /** Told of claims that a process found when it started. */
  onClaimsLeft: (left: readonly Claim[]) => void = () => {}
  /** Members that ended without anybody's doing. */
  readonly ended: { name: string; how: string; diskWasFull: boolean }[] = []
  #stopping = false
  readonly #starting = new Set<string>()

  private constructor(folder: string, stores: Stores, ports: Record<string, string>, room: Room | null) {
    this.#folder = folder
    this.#stores = stores
    this.#ports = ports
    this.room = room
  }

  static async start(stores: Stores, ledger: Ledger, onUnknown: 'resend' | 'ask-desk', offset: number): Promise<Fleet> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-chaos-'))
    await writeFile(join(folder, 'ledger.json'), ledger.description(onUnknown))
    const room = await Room.make(join(folder, 'room'), ROOM_MEGABYTES)
    const ports = {
      DAYSIX_SERVICES_DIR: join(folder, 'room', 'services'),
      DAYSIX_PG_PORT: String(await freePort()),
      DAYSIX_REDIS_PORT: String(await freePort()),
      DAYSIX_CLUSTER_PORTS: '',
    }
    // PostgreSQL runs under an account of its own and must be able to reach its folder.
    await run('chmod', ['755', folder])
    const fleet = new Fleet(folder, stores, ports, room)
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
    for (const each of SMALL_LOG) await admin.query(each)
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
      DATA_DIR: this.#dataFolder,
      DAYSIX_KEY: KEY,
      PUBLIC_URL: `http://127.0.0.1:${webPort}`,
      SWEEP_SECONDS: '1',
      HORIZON_HOURS: '1',
      CHAOS_OFFSET: String(offset),
      ...(this.databaseUrl && { DATABASE_URL: this.databaseUrl }),
      ...(this.#stores === 'redis' && { REDIS_URL: `redis://127.0.0.1:${this.#ports.DAYSIX_REDIS_PORT}` }),
    }
    const roles = this.#stores === 'embedded' ? (['all'] as const) : (['web', 'web', 'worker', 'worker'] as const)
    for (const [index, role] of roles.entries()) {
      const port = index === 0 ? webPort : await freePort()
      const environment = { ...common, PORT: String(port), ...(role === 'worker' && { HEALTH_PORT: String(port) }) }
      this.members.push(this.#member(`${role}-${index}`, role, port, environment))
    }
    // The first makes the tables.
    const [first, ...others] = this.members
    await this.#started([first!])
    await this.#started(others)
  }

  async #started(members: readonly Member[]): Promise<void> {
    for (const { process } of members) process.start()
    for (const { name, health } of members) await eventually(`${name} is ready`, () => isReady(health), 120)
  }

  #member(name: string, role: 'all' | 'web' | 'worker', port: number, environment: Record<string, string>): Member {
    const health = `http://127.0.0.1:${port}`
    const process = new ServiceProcess({
      role,
      environment,
      entry: ENTRY,
      told: ({ worker, left }) => {
        member.worker = worker
        this.onClaimsLeft(left)
      },
      endedByItself: (how) => this.#endedByItself(member, how),
    })
    const member: Member = {
      name,
      health,
      url: role === 'worker' ? null : health,
      process,
      skewMs: 0,
      worker: undefined,
    }
    return member
  }

  /** Started again after a while, as by systemd or a container's keeper. */
  #endedByItself(member: Member, how: string): void {
    if (this.#stopping) return
    // A database in the process takes it along when its disk is full; a server's clients must outlive that.
    this.ended.push({
      name: member.name,
      how,
      diskWasFull: this.#stores === 'embedded' && (this.room?.wasFull(20_000) ?? false),
    })
    this.#starting.add(member.name)
    setTimeout(() => {
      this.#starting.delete(member.name)
      if (!this.#stopping && !member.process.runs) member.process.start()
    }, RESTART_MS)
  }

  /** The database's log goes on in a new file, for which there may be no room. */
  async turnLog(): Promise<void> {
    if (this.databaseUrl)
      return this.ask(TURN_LOG.join('; ')).then(
        () => {},
        () => {},
      )
    for (const { process } of this.members) process.tell({ turnLog: true })
  }

  /** Claims of processes that do not run. Only where there is a server that can be asked past the service. */
  async claimsLeft(): Promise<Claim[]> {
    const living = this.members.filter(({ process }) => process.runs).map(({ worker }) => `'${worker ?? ''}'`)
    const rows = await this.ask(
      `select id, attempt from message where state = 'sending' and claimed_by not in ('', ${living.join(', ')})`,
    )
    return rows as unknown as Claim[]
  }

  /** Asks the server past the service. */
  ask: Ask = async (sql) => {
    const client = new pg.Client({
      connectionString: this.databaseUrl,
      options: '-c search_path=daysix',
      connectionTimeoutMillis: 3_000,
    })
    client.on('error', () => {})
    try {
      await client.connect()
      return (await client.query(sql)).rows as Record<string, unknown>[]
    } finally {
      await client.end().catch(() => {})
    }
  }

  /** A way to read the database past the service, once that is stopped. */
  async reader(): Promise<{ ask: Ask; close: () => Promise<void> }> {
    if (this.databaseUrl) return { ask: this.ask, close: async () => {} }
    const database = await openEmbedded(this.#dataFolder)
    return { ask: async (sql) => (await database.records.query(sql)).rows, close: () => database.close() }
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

  /** Those that send. */
  get senders(): Member[] {
    return this.members.filter(({ name }) => !name.startsWith('web'))
  }

  get workersRun(): boolean {
    return this.senders.some(({ process }) => process.runs)
  }

  /** The service must come back by itself once its stores are there; those do not always. */
  async comeBack(): Promise<void> {
    if (this.databaseUrl) await this.services('start')
    for (const { name, health, process } of this.members) {
      await eventually(`${name} is ready again`, () => (process.runs ? isReady(health) : this.#stays(name)), 120)
    }
  }

  /**
   * Killed, and started again by whoever killed it; not one that is about to be started again as it ended by itself.
   */
  #stays(name: string): boolean {
    return !this.#starting.has(name)
  }

  /** Waits, for a while, until nothing is overdue or being handed over. */
  async atRest(): Promise<void> {
    const { health } = this.senders[0]!
    const rests = async () => {
      const page = await (await fetch(`${health}/metrics`)).text()
      return (
        /^daysix_database_up 1$/m.test(page) &&
        /^daysix_overdue_messages 0$/m.test(page) &&
        /^daysix_claimed_messages 0$/m.test(page)
      )
    }
    await eventually('nothing is overdue', rests, 90).catch((error: Error) => console.error(`\n${error.message}`))
    // Receipts and what follows from them.
    await new Promise((done) => setTimeout(done, 2_000))
  }

  services(command: string): Promise<unknown> {
    return run(SERVICES, [command], { env: { ...process.env, ...this.#ports } })
  }

  async stop(): Promise<void> {
    this.#stopping = true
    await Promise.all(this.members.map(({ process }) => process.stop()))
  }

  /** Takes the stores down, and everything away. */
  async clear(): Promise<void> {
    this.#stopping = true
    await Promise.all(this.members.map(({ process }) => process.kill()))
    await this.room?.empty()
    if (this.#stores !== 'embedded') await this.services('stop')
    await this.room?.clear()
    await rm(this.#folder, { recursive: true, force: true })
  }

  get #dataFolder(): string {
    return join(this.#folder, 'room', 'data')
  }
}
