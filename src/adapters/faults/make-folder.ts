import { mkdir, stat } from 'node:fs/promises'
import { dirname, resolve } from 'node:path'

/**
 * Makes a folder for its owner alone, and those above it. Node's own recursive `mkdir` asks for ever, at full speed,
 * where the folder above is there and yet nothing can be made in it, as in /proc.
 * @returns the first one that had to be made; undefined where all were there
 */
export async function makeFolder(folder: string): Promise<string | undefined> {
  const path = resolve(folder)
  const above = dirname(path)
  const made = above === path || (await isThere(above)) ? undefined : await makeFolder(above)
  try {
    await mkdir(path, { mode: 0o700 })
    return made ?? path
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST' && (await isFolder(path))) return made
    throw (error as NodeJS.ErrnoException).code === 'EEXIST'
      ? Object.assign(error as Error, { code: 'ENOTDIR' })
      : error
  }
}

const isThere = (path: string) =>
  stat(path).then(
    () => true,
    (error: NodeJS.ErrnoException) => error.code !== 'ENOENT',
  )

const isFolder = (path: string) =>
  stat(path).then(
    (found) => found.isDirectory(),
    () => false,
  )
