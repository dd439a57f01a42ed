import { randomBytes } from 'node:crypto'
import { existsSync, readFileSync, statSync } from 'node:fs'
import { readFile, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { Failure } from '../../domain/failure.ts'
import { makeFolder } from '../faults/make-folder.ts'
import { writeWhole } from '../whole-file.ts'
import { KEY_BYTES, isKeyList, readKeyRing, type KeyRing } from './key-ring.ts'

const newKey = () => randomBytes(KEY_BYTES).toString('base64')
const pathIn = (dataDir: string) => join(dataDir, 'sealing.key')
/** How long a process may go on sealing with the key before the newest. */
const LOOK_EVERY_MS = 1_000

/**
 * The keys that seal the data: from the setting, or from a file in the data folder that is made on first use, readable
 * by its owner only. Lose them and the data cannot be read.
 * @param hasData tells whether there are data already: beside these no new key is ever made, since it could not open
 *   them
 * @throws bad-config where the data's key is not here
 */
export async function sealingKeys(
  setting: string | undefined,
  dataDir: string,
  hasData: () => Promise<boolean>,
): Promise<KeyRing> {
  if (setting) return readKeyRing(setting)
  const path = pathIn(dataDir)
  if (!existsSync(path) && (await hasData())) {
    throw new Failure('bad-config', {
      field: 'DAYSIX_KEY',
      message:
        'The key that these data were sealed with is not here. Put sealing.key back into DATA_DIR, or set DAYSIX_KEY.',
    })
  }
  await makeFolder(dataDir)
  try {
    // Fails if it exists, so that two starts at once cannot make two keys.
    await writeFile(path, newKey(), { flag: 'wx', mode: 0o600 })
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error
  }
  return new FileRing(path)
}

/** Adds a key that seals from now on. Running processes take it up within a second. @returns its id */
export async function addKeyToFile(dataDir: string): Promise<string> {
  const path = pathIn(dataDir)
  const before = (await readFile(path, 'utf8')).trim()
  const after = `${before}\n${newKey()}\n`
  // Half a key file would be the end of the data.
  await writeWhole(path, after, `${path}.new`)
  return readKeyRing(after).newest().id
}

/** Follows the file, so that keys can be added while the service runs. */
class FileRing implements KeyRing {
  readonly #path: string
  #ring: KeyRing
  #changed: number
  #looked = 0

  constructor(path: string) {
    this.#path = path
    this.#changed = statSync(path).mtimeMs
    this.#ring = this.#read()
  }

  oldest() {
    return this.#ring.oldest()
  }

  newest() {
    if (Date.now() - this.#looked > LOOK_EVERY_MS) this.#look()
    return this.#ring.newest()
  }

  byId(id: string) {
    return this.#ring.byId(id) ?? (this.#look(), this.#ring.byId(id))
  }

  #look(): void {
    this.#looked = Date.now()
    const { mtimeMs } = statSync(this.#path)
    if (mtimeMs === this.#changed) return
    this.#changed = mtimeMs
    this.#ring = this.#read()
  }

  #read(): KeyRing {
    const text = readFileSync(this.#path, 'utf8')
    if (!isKeyList(text))
      throw new Failure('bad-config', {
        field: 'DAYSIX_KEY',
        message: 'The file sealing.key in the data folder is damaged. Restore it from its copy.',
      })
    return readKeyRing(text)
  }
}
