import { createHash } from 'node:crypto'
import { existsSync, mkdirSync, readFileSync, readdirSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { PGlite } from '@electric-sql/pglite'
import { EmscriptenBuiltinFilesystem } from '@electric-sql/pglite/basefs'

/**
 * An image is a tar archive of the data folder of an embedded database that has all tables and nothing in them. To
 * start from it takes a fifth of what `initdb` and the migrations take. Without one a database is initialised as ever.
 */
const FOLDER_OF_IMAGES = fileURLToPath(new URL('../../../.build/', import.meta.url))
const MIGRATIONS = new URL('./migrations/', import.meta.url)
/** What decides what is in a fresh database, beside our migrations. */
const MADE_BY = ['@electric-sql/pglite', 'bullmq'] as const

/** Where the image of exactly these migrations lies, made by exactly these libraries: any other is none. */
export function imagePath(migrations = MIGRATIONS): string {
  const hash = createHash('sha256')
  for (const file of readdirSync(migrations).sort()) hash.update(file).update(readFileSync(new URL(file, migrations)))
  hash.update(readFileSync(new URL('./migrate.ts', import.meta.url)))
  for (const library of MADE_BY) hash.update(`${library} ${versionOf(library)}\n`)
  return join(FOLDER_OF_IMAGES, `database-${hash.digest('hex').slice(0, 16)}.tar`)
}

/** Path of the image; null where none was made (see `makeImage`). */
export function foundImage(): string | null {
  const path = imagePath()
  return existsSync(path) ? path : null
}

/** Not every library exports its package.json: it lies at the top of the folder that has the library's name. */
function versionOf(library: string): string {
  const inside = dirname(createRequire(import.meta.url).resolve(library))
  const name = join(...library.split('/'))
  const top = inside.slice(0, inside.lastIndexOf(name) + name.length)
  return (JSON.parse(readFileSync(join(top, 'package.json'), 'utf8')) as { version: string }).version
}

interface Entry {
  /** Below the top of the data folder; names are separated by `/`, as in any tar archive. */
  path: string
  /** Undefined for a folder. */
  content?: Buffer
}

const BLOCK = 512
const FOLDER = '5'

/**
 * What is in a tar archive, every folder before what it holds.
 * Source: POSIX.1-2017, pax, "ustar Interchange Format".
 */
function* entriesOf(tar: Buffer): Generator<Entry> {
  const text = (at: number, length: number) => tar.toString('latin1', at, at + length).split('\0', 1)[0]!
  for (let at = 0; tar[at];) {
    const size = parseInt(text(at + 124, 12), 8)
    const path = [text(at + 345, 155), text(at, 100)].join('/').replace(/^\/+|\/+$/g, '')
    const start = at + BLOCK
    if (path) yield text(at + 156, 1) === FOLDER ? { path } : { path, content: tar.subarray(start, start + size) }
    at = start + Math.ceil(size / BLOCK) * BLOCK
  }
}

/** Puts a copy of the database in the folder `to`: the whole of it, or nothing when this is cut short. */
export function copyImage(image: string, to: string): void {
  const aside = `${to}.unready`
  rmSync(aside, { recursive: true, force: true })
  mkdirSync(aside, { mode: 0o700 })
  for (const { path, content } of entriesOf(readFileSync(image))) {
    if (content) writeFileSync(join(aside, path), content, { mode: 0o600 })
    else mkdirSync(join(aside, path), { mode: 0o700 })
  }
  renameSync(aside, to)
}

/** A file system in memory that begins as a copy of the database, and is gone with it. */
export class CopyInMemory extends EmscriptenBuiltinFilesystem {
  readonly #image: string

  constructor(image: string) {
    super()
    this.#image = image
  }

  override async initialSyncFs(): Promise<void> {
    const { FS } = this.pg!.Module
    const top = PGlite.paths.PGDATA
    FS.mkdirTree(top)
    for (const { path, content } of entriesOf(readFileSync(this.#image))) {
      if (content) FS.writeFile(`${top}/${path}`, content, { canOwn: true })
      else FS.mkdir(`${top}/${path}`)
    }
  }

  override async closeFs(): Promise<void> {
    this.pg!.Module.FS.quit()
  }
}
