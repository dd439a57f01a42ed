import { open, rename, rm } from 'node:fs/promises'

/**
 * Writes a file whole or not at all, for its owner alone: under another name until it is on the disk. What a crash
 * leaves has that other name.
 * @param aside the other name, in the same folder
 */
export async function writeWhole(path: string, content: string | Buffer, aside = `${path}.part`): Promise<void> {
  try {
    const file = await open(aside, 'w', 0o600)
    try {
      await file.writeFile(content)
      await file.sync()
    } finally {
      await file.close()
    }
    await rename(aside, path)
  } catch (error) {
    await rm(aside, { force: true })
    throw error
  }
}
