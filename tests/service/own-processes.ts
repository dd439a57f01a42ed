import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import pg from 'pg'
import { afterEach, beforeEach } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort } from '../../infra/chaos/service-process.ts'
import { freshDatabase, type FreshDatabase } from '../harness/servers.ts'
import { Desk } from './desk.ts'

interface Own {
  database: FreshDatabase
  /** Asks the database past the service. */
  client: pg.Client
  folder: string
  ledger: Ledger
  /** Address of the web, once one is started. */
  base: string
  desk: Desk
  running: ServiceProcess[]
}

/** What they seal with. */
export const OWN_KEY = Buffer.alloc(32, 9).toString('base64')

/**
 * Processes of the service on a database and a network of their own, for each test of the block that this is called in.
 * Their logs are shown where a test fails.
 */
export function ownProcesses(postgres: string) {
  let own: Own
  beforeEach(async () => {
    const database = await freshDatabase(postgres)
    const client = new pg.Client({ connectionString: database.url, options: '-c search_path=daysix' })
    await client.connect()
    const folder = await mkdtemp(join(tmpdir(), 'daysix-processes-'))
    const ledger = new Ledger()
    await ledger.start()
    const base = `http://127.0.0.1:${await freePort()}`
    own = { database, client, folder, ledger, base, desk: new Desk(base), running: [] }
  })
  afterEach(async ({ task }) => {
    const { database, client, folder, ledger, running } = own
    if (task.result?.state === 'fail') for (const process of running) console.log(process.log.join('\n'))
    await Promise.all(running.map((process) => process.kill()))
    await client.end()
    await database.drop()
    await ledger.stop()
    await rm(folder, { recursive: true, force: true })
  })

  const workers = async () =>
    (await own.client.query<{ id: string }>('select id from worker order by id')).rows.map(({ id }) => id)
  return {
    here: () => own,
    /** Describes the network, before anything is started. */
    describeNetwork: async (more: object = {}): Promise<void> => {
      const described = JSON.parse(own.ledger.description('ask-desk')) as object
      await writeFile(join(own.folder, 'network.json'), JSON.stringify({ ...described, ...more }))
    },
    /**
     * @param more settings, beyond those that lead to its own stores and network
     * @param root where the version lies that is run; without it, this one
     */
    start: (role: 'web' | 'worker', more: Record<string, string> = {}, root?: string): ServiceProcess => {
      const { base, database, folder, ledger, running } = own
      const ours = { GATEWAYS_DIR: folder, PORT: new URL(base).port, PUBLIC_URL: base, SWEEP_SECONDS: '1' }
      const stores = { DATABASE_URL: database.url, DAYSIX_KEY: OWN_KEY }
      const environment = { ...ledger.environment, ...ours, ...stores, ...more }
      const process = new ServiceProcess({ role, environment, ...(root !== undefined && { root }) })
      running.push(process)
      process.start()
      return process
    },
    workers,
    works: (count: number) => eventually(`${count} work`, async () => (await workers()).length === count),
  }
}
