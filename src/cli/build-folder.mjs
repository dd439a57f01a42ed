// Where the install puts what it compiled, and what it was compiled from.
import { readFileSync, readdirSync, statSync } from 'node:fs'
import { fileURLToPath } from 'node:url'

export const ROOT = fileURLToPath(new URL('../../', import.meta.url))
export const BUILD = `${ROOT}.build/`
/** Says which folder of `.build` is in force, and what it was compiled from. */
export const STAMP = `${BUILD}compiled.json`

/** A line for each source below a folder of the project, with its size and the time of its last change. */
export function listing(folder) {
  const line = (path) => {
    const { size, mtimeMs } = statSync(ROOT + path)
    return `${path} ${size} ${mtimeMs}\n`
  }
  return sourcesIn(folder).map(line).join('')
}

/** A hash of the sources below a folder: their names, and what is in them. */
export async function digest(folder) {
  const { createHash } = await import('node:crypto')
  const hash = createHash('sha256')
  for (const path of sourcesIn(folder))
    hash
      .update(`${path}\0`)
      .update(readFileSync(ROOT + path))
      .update('\0')
  return hash.digest('hex')
}

function sourcesIn(folder) {
  const found = readdirSync(ROOT + folder, { withFileTypes: true }).flatMap((entry) => {
    const path = `${folder}/${entry.name}`
    if (entry.isDirectory()) return sourcesIn(path)
    return /\.m?[jt]s$/.test(entry.name) ? [path] : []
  })
  return found.sort()
}
