import { createCipheriv, createHash, hkdfSync, randomBytes } from 'node:crypto'
import { readFileSync, readdirSync } from 'node:fs'
import pg from 'pg'
import { openServer } from '../../src/adapters/db/server.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { createVault } from '../../src/adapters/vault/vault.ts'
import { readKeyRing } from '../../src/adapters/vault/key-ring.ts'

/**
 * Address of a server that the tests may use, e.g. from `eval "$(infra/ci/services.sh start)"`. Without one its tests
 * are skipped on a developer's machine; in CI its absence is a failure.
 */
export function serverAddress(name: 'TEST_DATABASE_URL' | 'TEST_REDIS_URL' | 'TEST_REDIS_CLUSTER'): string | undefined {
  const url = process.env[name]
  if (!url && process.env.CI)
    throw new Error(`${name} is not set. In CI every store must be tested: run infra/ci/services.sh first.`)
  return url || undefined
}

/** Seals what tests make up, and no more than that. */
export const TEST_KEY = Buffer.alloc(32, 7).toString('base64')
/** As versions before 0021 sealed: bound to no row. */
export function sealedUnbound(value: unknown): string {
  const key = Buffer.from(hkdfSync('sha256', Buffer.from(TEST_KEY, 'base64'), Buffer.alloc(0), 'daysix seal', 32))
  const iv = randomBytes(12)
  const cipher = createCipheriv('aes-256-gcm', key, iv).setAAD(Buffer.from('k1'))
  const body = Buffer.concat([cipher.update(JSON.stringify(value), 'utf8'), cipher.final()])
  return `k1.${Buffer.concat([iv, body, cipher.getAuthTag()]).toString('base64url')}`
}

export const testVault = () => createVault(readKeyRing(TEST_KEY))

export interface FreshDatabase {
  url: string
  drop(): Promise<void>
}

/** A database of its own, cloned from a template that has all tables: quicker than migrating for each test file. */
export async function freshDatabase(server: string): Promise<FreshDatabase> {
  const template = await templateOn(server)
  const name = `daysix_test_${randomBytes(6).toString('hex')}`
  await asAdmin(server, (admin) => cloned(admin, name, template))
  return {
    url: named(server, name),
    drop: () =>
      asAdmin(server, async (admin) => void (await admin.query(`drop database if exists ${name} with (force)`))),
  }
}

/** Cloning needs the template to itself; several test files may want it at once. */
async function cloned(admin: pg.Client, name: string, template: string): Promise<void> {
  await admin.query('select pg_advisory_lock(20260302)')
  await admin.query(`create database ${name} template ${template}`)
  await admin.query('select pg_advisory_unlock(20260302)')
}

async function templateOn(server: string): Promise<string> {
  const template = `daysix_template_${migrationsHash()}`
  await asAdmin(server, async (admin) => {
    await admin.query('select pg_advisory_lock(20260302)')
    const { rowCount } = await admin.query('select from pg_database where datname = $1', [template])
    if (!rowCount) await makeTemplate(admin, server, template)
    await admin.query('select pg_advisory_unlock(20260302)')
  })
  return template
}

async function makeTemplate(admin: pg.Client, server: string, template: string): Promise<void> {
  const unready = `${template}_${process.pid}`
  await admin.query(`create database ${unready}`)
  const database = await openServer(named(server, unready))
  await openStore(database, testVault())
  await database.close()
  await admin.query(`alter database ${unready} rename to ${template}`)
}

function migrationsHash(): string {
  const folder = new URL('../../src/adapters/db/migrations/', import.meta.url)
  const hash = createHash('sha256')
  for (const file of readdirSync(folder).sort()) hash.update(file).update(readFileSync(new URL(file, folder)))
  hash.update(readFileSync(new URL('../../package.json', import.meta.url)))
  return hash.digest('hex').slice(0, 12)
}

function named(server: string, database: string): string {
  const url = new URL(server)
  url.pathname = `/${database}`
  return url.href
}

async function asAdmin(server: string, work: (admin: pg.Client) => Promise<void>): Promise<void> {
  const admin = new pg.Client(server)
  await admin.connect()
  try {
    await work(admin)
  } finally {
    await admin.end()
  }
}
