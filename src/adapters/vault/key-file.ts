import { randomBytes } from 'node:crypto'
import { mkdir, readFile, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { Failure } from '../../domain/failure.ts'

const KEY_BYTES = 32

/**
 * The key that seals the data: from the setting, or from a file in the data folder that is made on first use,
 * readable by its owner only. Lose it and the data cannot be read.
 */
export async function sealingKey(setting: string | undefined, dataDir: string): Promise<Buffer> {
  if (setting) return Buffer.from(setting, 'base64')
  const path = join(dataDir, 'sealing.key')
  await mkdir(dataDir, { recursive: true, mode: 0o700 })
  try {
    // Fails if it exists, so that two starts at once cannot make two keys.
    await writeFile(path, randomBytes(KEY_BYTES).toString('base64'), { flag: 'wx', mode: 0o600 })
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error
  }
  const key = Buffer.from(await readFile(path, 'utf8'), 'base64')
  if (key.length !== KEY_BYTES) throw new Failure('bad-config', { field: 'DAYSIX_KEY', message: 'The file sealing.key in the data folder is damaged. Restore it from its copy.' })
  return key
}
