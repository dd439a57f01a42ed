import { existsSync } from 'node:fs'
import { mkdir, rename, rm, rmdir } from 'node:fs/promises'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { gunzip } from 'node:zlib'
import { PGlite } from '@electric-sql/pglite'
import { Failure } from '../../domain/failure.ts'
import { damaged } from '../backup/backup-file.ts'
import { makeFolder } from '../faults/make-folder.ts'
import { CopyInMemory, copyImage, foundImage } from './embedded-image.ts'
import { EmbeddedPool } from './embedded-pool.ts'
import { sessionOf } from './embedded-wire.ts'
import { claimFolder } from './folder-claim.ts'
import { QUEUE_SCHEMA, SCHEMA, type Database, type Pool } from './pool.ts'
import { shutFolder, shutTree } from './owner-only.ts'
import { startPglite } from './start-pglite.ts'

/**
 * Lies in a folder whose content has gone to a server: two services with the same patients would send everything twice.
 */
export const MOVED_MARK = 'moved-to-postgresql'

/** @throws bad-config when the folder's content has been moved away. */
function refuseMoved(folder: string): void {
  if (!existsSync(join(folder, MOVED_MARK))) return
  const message = `The data of this folder was moved into PostgreSQL: set DATABASE_URL. To go back to the state before that, delete the file ${MOVED_MARK} in it.`
  throw new Failure('bad-config', { field: 'DATA_DIR', message })
}

/** Where a restore works until all of it has succeeded. */
const RESTORING = 'restoring'

/** What is done with an image on its way into a folder. */
interface Restoring<T> {
  /** Looks into the database as it was kept. */
  examine: (records: Pool) => Promise<void>
  /** Does what must be done before anybody may start with it; gets the folder in which it lies meanwhile. */
  finish: (aside: string) => Promise<T>
}

/**
 * Makes the database of a folder from an image: wholly or not at all. It is unpacked beside, looked into and settled,
 * and only then it takes its place; whatever goes wrong before leaves the folder as it was.
 * @throws bad-config when the folder has a database already, or the image is none
 */
export async function fromImage<T>(folder: string, image: Uint8Array, { examine, finish }: Restoring<T>): Promise<T> {
  if (existsSync(join(folder, 'postgres'))) {
    throw new Failure('bad-config', {
      field: 'DATA_DIR',
      message: 'This data folder holds a database already. Restore into an empty one.',
    })
  }
  const made = await makeFolder(folder)
  const letGo = await claimFolder(folder)
  const aside = join(folder, RESTORING)
  try {
    await rm(aside, { recursive: true, force: true })
    await unpack(aside, image, examine)
    const result = await finish(aside)
    await rename(join(aside, 'postgres'), join(folder, 'postgres'))
    return result
  } finally {
    await rm(aside, { recursive: true, force: true })
    await letGo()
    // Only where it is empty: a folder that was made for nothing.
    if (made) await rmdir(folder).catch(() => {})
  }
}

async function unpack(folder: string, image: Uint8Array, examine: (records: Pool) => Promise<void>): Promise<void> {
  await mkdir(folder, { mode: 0o700 })
  const pglite = await pgliteFrom(image, join(folder, 'postgres'))
  try {
    await examine(new EmbeddedPool(await sessionOf(pglite)))
  } finally {
    await pglite.close()
  }
}

/** @throws bad-config where the image is none */
async function pgliteFrom(image: Uint8Array, dataDir: string): Promise<PGlite> {
  try {
    // Read through first: PGlite would say in many lines of its own what is wrong with half a file.
    await promisify(gunzip)(image)
    return await startPglite({ dataDir, loadDataDir: new Blob([image as Uint8Array<ArrayBuffer>]) })
  } catch (error) {
    throw damaged(error)
  }
}

/** A database in memory made of an image, to be looked into. @throws bad-config where the image is none */
export async function openImage(image: Uint8Array): Promise<Pick<Database, 'records' | 'close'>> {
  const pglite = await pgliteFrom(image, 'memory://')
  return { records: new EmbeddedPool(await sessionOf(pglite)), close: () => pglite.close() }
}

/** @throws bad-config where a restore was cut off: starting anew would look as if all had gone well. */
function refuseUnfinished(folder: string): void {
  if (!existsSync(join(folder, RESTORING))) return
  const message = `A restore into this folder did not come to its end. Run it again, or delete the folder "${RESTORING}" in it to begin with nothing.`
  throw new Failure('bad-config', { field: 'DATA_DIR', message })
}

/**
 * PostgreSQL's own buffers. The 128 MB that are usual are cleared first and so stay in use for good: a third of the
 * time that a start takes, and of the memory. Files are in the machine's cache besides; where they are in memory, there
 * already.
 */
const buffers = (megabytes: number) => [...PGlite.defaultStartParams, '-c', `shared_buffers=${megabytes}MB`]
const IN_MEMORY = { dataDir: 'memory://', startParams: buffers(16) }
const IN_FOLDER = { startParams: buffers(32) }

function startInMemory(image: string | null): Promise<PGlite> {
  return startPglite(image ? { ...IN_MEMORY, fs: new CopyInMemory(image) } : IN_MEMORY)
}

function startIn(folder: string, image: string | null): Promise<PGlite> {
  const dataDir = join(folder, 'postgres')
  if (image) copyImage(image, dataDir)
  return startPglite({ ...IN_FOLDER, dataDir })
}

/**
 * Opens (or creates) the embedded database.
 * @param folder where it lives; undefined = in memory, gone with the process.
 * @param image what a new one starts from: then it has all tables. With null, or where no image was made, it is empty.
 * @throws data-folder-in-use when another process has it.
 */
export async function openEmbedded(folder: string | undefined, image = foundImage()): Promise<Database> {
  if (folder) await makeFolder(folder)
  if (folder) refuseMoved(folder)
  if (folder) refuseUnfinished(folder)
  const letGo = folder ? await claimFolder(folder) : async () => {}
  const wasOpen = folder !== undefined && shutFolder(folder)
  const from = folder && existsSync(join(folder, 'postgres')) ? null : image
  const pglite = await (folder ? startIn(folder, from) : startInMemory(from))
  if (folder) shutTree(join(folder, 'postgres'))
  const session = await sessionOf(pglite)
  await session.query(`set search_path to ${SCHEMA}, ${QUEUE_SCHEMA}; set timezone to 'UTC'`)
  const pool = new EmbeddedPool(session)
  return {
    kind: 'embedded',
    wasOpen,
    migrated: from !== null,
    records: pool,
    queue: pool,
    image: async () => new Uint8Array(await (await pglite.dumpDataDir('gzip')).arrayBuffer()),
    close: async () => {
      await pglite.close()
      await letGo()
    },
  }
}
