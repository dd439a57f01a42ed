import { execFile } from 'node:child_process'
import { rename, rm, stat } from 'node:fs/promises'
import { promisify } from 'node:util'
import { Failure } from '../../domain/failure.ts'
import type { Database } from '../db/pool.ts'
import { SCHEMA } from '../db/pool.ts'
import { writeWhole } from '../whole-file.ts'
import { digestOfFile, writeBackup, type BackupFacts } from './backup-file.ts'
import { inside } from './rows-in.ts'

const run = promisify(execFile)
/** A dump of a country takes its time. */
const DUMP_MS = 6 * 3_600_000

/** Where PostgreSQL's tools are looked for. */
const TOOLS = '/usr/local/bin:/usr/bin:/bin'

/** How the files of each kind of store end. */
export const ENDINGS = { embedded: '.backup', postgres: '.dump' } as const

/**
 * Writes a backup of an embedded database into a new file, also while the service runs: nothing else is asked of the
 * database meanwhile. The keys are not in it.
 * @returns its size in bytes. @throws as writing a file does; EEXIST where the file is there
 */
export async function backUpEmbedded(database: Database, file: string, now: Date): Promise<number> {
  await refuseThere(file)
  await database.records.query('checkpoint')
  const client = await database.records.connect()
  try {
    // Whoever is in a transaction has the only session to itself.
    await client.query('begin')
    const facts = await inside(client)
    const image = await database.image!()
    const content = writeBackup(image, { ...facts, madeAt: now.toISOString() })
    await writeWhole(file, content)
    return content.length
  } finally {
    await client.query('rollback')
    client.release()
  }
}

/**
 * Has PostgreSQL's own tool write a dump into a new file, and beside it what the dump says of itself.
 * @returns its size in bytes. @throws bad-config where the tool is missing or fails; EEXIST where the file is there
 */
export async function backUpServer(database: Database, url: string, file: string, now: Date): Promise<number> {
  await refuseThere(file)
  const client = await database.records.connect()
  const facts = await inside(client).finally(() => client.release())
  const aside = `${file}.partial`
  try {
    const options = ['--format=custom', `--schema=${SCHEMA}`, `--file=${aside}`]
    await run('pg_dump', options, { env: { PATH: TOOLS, ...connectionOf(url) }, timeout: DUMP_MS })
    const about: BackupFacts = { ...facts, madeAt: now.toISOString(), sha256: await digestOfFile(aside) }
    await writeWhole(factsBeside(file), `${JSON.stringify(about)}\n`)
    await rename(aside, file)
    return (await stat(file)).size
  } catch (error) {
    throw new Failure('bad-config', { field: 'BACKUP_DIR', message: whyNoDump(error) }, error)
  } finally {
    await rm(aside, { force: true })
  }
}

export const factsBeside = (file: string) => `${file}.json`

/** In the environment of the tool: what stands in its arguments, everybody on the machine can read. */
export function connectionOf(url: string): Record<string, string> {
  const { hostname, port, username, password, pathname, searchParams } = new URL(url)
  const sslmode = searchParams.get('sslmode')
  return {
    PGHOST: searchParams.get('host') ?? decodeURIComponent(hostname),
    ...(port && { PGPORT: port }),
    ...(username && { PGUSER: decodeURIComponent(username) }),
    ...(password && { PGPASSWORD: decodeURIComponent(password) }),
    PGDATABASE: decodeURIComponent(pathname.slice(1)),
    ...(sslmode && { PGSSLMODE: sslmode }),
  }
}

function whyNoDump(error: unknown): string {
  const { code, stderr = '' } = error as { code?: unknown; stderr?: string }
  if (code === 'ENOENT') return 'There is no pg_dump here: install postgresql-client of the version of the server.'
  if (/version mismatch/.test(stderr))
    return 'pg_dump is older than the server: install postgresql-client of its version.'
  return `pg_dump could not make a dump (${String(code)}): run it by hand to see why.`
}

/** Never over another one. @throws EEXIST */
async function refuseThere(file: string): Promise<void> {
  if (await stat(file).catch(() => null)) throw Object.assign(new Error('It is there already.'), { code: 'EEXIST' })
}
