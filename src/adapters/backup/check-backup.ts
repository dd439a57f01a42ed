import { existsSync } from 'node:fs'
import { readFile } from 'node:fs/promises'
import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { Failure } from '../../domain/failure.ts'
import type { openImage } from '../db/embedded.ts'
import { knownMigrations } from '../db/migrate.ts'
import {
  damaged,
  digestOfFile,
  factsIn,
  readBackup,
  refuseIncomplete,
  refuseNewer,
  type BackupFacts,
} from './backup-file.ts'
import { factsBeside } from './make-backup.ts'
import { inside } from './rows-in.ts'

const run = promisify(execFile)

/** A file, or in words why there is none. */
export async function contentOf(file: string): Promise<Buffer> {
  return readFile(file).catch((error: unknown) => unreadable(file, error))
}

function unreadable(file: string, error: unknown): never {
  const message = `The file ${file} cannot be read. Check its name, and who may read it.`
  throw new Failure('bad-config', { field: 'file', message }, error)
}

/**
 * Opens a backup and counts what is in it, without touching any data folder.
 * @param open makes a database in memory of an image
 * @returns what it says of itself, or what was counted where it is too old to say anything
 * @throws bad-config for what is damaged, incomplete, or of a newer version
 */
export async function checkBackup(
  file: string,
  open: typeof openImage,
): Promise<Omit<BackupFacts, 'sha256' | 'madeAt'> & { madeAt: string | null }> {
  if (existsSync(factsBeside(file))) return checkDump(file)
  const { about, image } = readBackup(await contentOf(file))
  if (about) refuseNewer(about, knownMigrations())
  const { records, close } = await open(image)
  try {
    const found = await inside(records)
    if (about) refuseIncomplete(about, found.rows)
    else refuseNewer(found, knownMigrations())
    return { ...found, madeAt: about?.madeAt ?? null }
  } finally {
    await close()
  }
}

/** Of a dump: that it is as it was written, and that PostgreSQL's tool can read it. */
async function checkDump(file: string): Promise<BackupFacts> {
  const about = factsIn((await contentOf(factsBeside(file))).toString('utf8'))
  const sha256 = await digestOfFile(file).catch((error: unknown) => unreadable(file, error))
  if (sha256 !== about.sha256) throw damaged()
  refuseNewer(about, knownMigrations())
  await run('pg_restore', ['--list', file]).catch((error: unknown) => {
    throw damaged(error)
  })
  return about
}
