import { createHash } from 'node:crypto'
import { createReadStream } from 'node:fs'
import { pipeline } from 'node:stream/promises'
import * as z from 'zod'
import { Failure } from '../../domain/failure.ts'

/** What a backup says of itself, to be checked before anything is done with it. */
export interface BackupFacts {
  /** ISO instant. */
  madeAt: string
  /** The migrations that its tables have had. */
  migrations: readonly string[]
  /** Rows in each table. */
  rows: Readonly<Record<string, number>>
  /** Print of the key that the data can be looked up with; null where nothing was ever sealed. */
  keyPrint: string | null
  /** SHA-256 of what follows, in hexadecimal. */
  sha256: string
}

/** A line that says what kind of file it is, a line of facts as JSON, and the image: a gzipped tar of the database. */
const MAGIC = 'daysix backup, version 1\n'
const GZIP = Buffer.from([0x1f, 0x8b])
const LINE = '\n'.charCodeAt(0)
const LONGEST_FACTS = 100_000

const facts = z.object({
  madeAt: z.iso.datetime(),
  migrations: z.array(z.string()),
  rows: z.record(z.string(), z.number().int()),
  keyPrint: z.string().nullable(),
  sha256: z.string().regex(/^[0-9a-f]{64}$/),
})

const digestOf = (image: Uint8Array) => createHash('sha256').update(image).digest('hex')

/** Of a file of any size. */
export async function digestOfFile(file: string): Promise<string> {
  const hash = createHash('sha256')
  await pipeline(createReadStream(file), hash)
  return hash.digest('hex')
}

export function writeBackup(image: Uint8Array, about: Omit<BackupFacts, 'sha256'>): Buffer {
  const line = JSON.stringify({ ...about, sha256: digestOf(image) } satisfies BackupFacts)
  return Buffer.concat([Buffer.from(MAGIC), Buffer.from(`${line}\n`), image])
}

/**
 * What is in a backup, as whole as it was written. One of an older version is an image alone, and says nothing of
 * itself: `about` is then null.
 * @throws bad-config for anything else, and for what was altered or cut off since
 */
export function readBackup(file: Buffer): { about: BackupFacts | null; image: Buffer } {
  if (file.subarray(0, 2).equals(GZIP)) return { about: null, image: file }
  const end = file.subarray(0, LONGEST_FACTS).indexOf(LINE, MAGIC.length)
  if (!file.subarray(0, MAGIC.length).equals(Buffer.from(MAGIC)) || end < 0) throw damaged()
  const image = file.subarray(end + 1)
  const about = factsIn(file.subarray(MAGIC.length, end).toString('utf8'))
  if (about.sha256 !== digestOf(image)) throw damaged()
  return { about, image }
}

/** What a backup says of itself, as it was written. @throws bad-config for anything else */
export function factsIn(line: string): BackupFacts {
  try {
    return facts.parse(JSON.parse(line))
  } catch (error) {
    throw damaged(error)
  }
}

export const damaged = (cause?: unknown) =>
  new Failure(
    'bad-config',
    {
      field: 'file',
      message: 'This file is no backup of Daysix, or it is damaged. Nothing was restored; take another copy.',
    },
    cause,
  )

/** @throws bad-config where this version does not know all that was done to the tables */
export function refuseNewer({ migrations }: Pick<BackupFacts, 'migrations'>, known: readonly string[]): void {
  const unknown = migrations.filter((name) => !known.includes(name))
  if (unknown.length === 0) return
  throw new Failure('bad-config', {
    field: 'file',
    message: `This backup was made by a newer version of Daysix (${unknown.at(-1)}). Restore it with that version.`,
  })
}

/** @throws bad-config where not every row of a backup is there */
export function refuseIncomplete({ rows }: Pick<BackupFacts, 'rows'>, found: Readonly<Record<string, number>>): void {
  const wrong = Object.keys({ ...rows, ...found }).filter((table) => rows[table] !== found[table])
  if (wrong.length === 0) return
  throw new Failure('bad-config', {
    field: 'file',
    message: `This backup is not complete: ${wrong.map((table) => `${table} has ${found[table] ?? 0} rows of ${rows[table] ?? 0}`).join(', ')}. Take another copy.`,
  })
}
