import { existsSync } from 'node:fs'
import { mkdir, rename, rm, writeFile } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { PGlite } from '@electric-sql/pglite'
import { openEmbedded } from './embedded.ts'
import { imagePath } from './embedded-image.ts'
import { migrate } from './migrate.ts'

/**
 * Makes the image that new embedded databases start from, unless it is there. Safe to call from several processes at
 * once.
 * @returns the image's path
 */
export async function makeImage(): Promise<string> {
  const image = imagePath()
  if (existsSync(image)) return image
  const aside = `${image}.${process.pid}`
  await mkdir(dirname(image), { recursive: true })
  try {
    await migrated(aside)
    await writeFile(join(aside, 'image'), await archived(join(aside, 'postgres')))
    await rename(join(aside, 'image'), image)
    return image
  } finally {
    await rm(aside, { recursive: true, force: true })
  }
}

async function migrated(folder: string): Promise<void> {
  const database = await openEmbedded(folder, null)
  try {
    await migrate(database)
  } finally {
    await database.close()
  }
}

/** PostgreSQL stays shut down: what was written while it runs would have to be recovered at every start. */
async function archived(folder: string): Promise<Uint8Array> {
  const pglite = await PGlite.create({ dataDir: folder, noInitDb: true })
  try {
    return new Uint8Array(await (await pglite.dumpDataDir('none')).arrayBuffer())
  } finally {
    await pglite.close()
  }
}
