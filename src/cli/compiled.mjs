// Runs what the install compiled from the sources, after making sure that it was compiled from these very sources.
import { existsSync, readFileSync } from 'node:fs'
import { BUILD, ROOT, STAMP, digest, listing } from './build-folder.mjs'

const INSTALL = 'run `npm ci`, without --ignore-scripts and --omit=dev'
const NOT_COMPILED = `Daysix is not compiled yet: ${INSTALL}.`
const OUT_OF_DATE = `What is compiled is not from these sources of Daysix: ${INSTALL}.`
/** Whoever runs it may not write here, as in a container. */
const READ_ONLY = new Set(['EROFS', 'EACCES', 'EPERM'])

/**
 * Runs a compiled program. Where the sources have changed since and the compiler is at hand, they are compiled first;
 * where it is not, or nothing was compiled, one line says what to do, and the exit code is 1.
 *
 * @param {'daysix' | 'demo'} program
 * @param {string[]} folders what it is compiled from; a folder that is not there, as in a container, cannot have changed
 */
export async function runCompiled(program, folders) {
  const stamp = readStamp()
  if (!stamp) return refuse(NOT_COMPILED)
  const folder = (await isCurrent(stamp, folders)) ? stamp.folder : await compileAnew()
  if (!folder) return refuse(OUT_OF_DATE)
  // Where an error comes from is told in lines of the sources.
  process.setSourceMapsEnabled(true)
  await import(new URL(`../../.build/${folder}/${program}.mjs`, import.meta.url).href)
}

function refuse(message) {
  process.stderr.write(`${message}\n`)
  process.exitCode = 1
}

function readStamp() {
  try {
    const stamp = JSON.parse(readFileSync(STAMP, 'utf8'))
    return existsSync(BUILD + stamp.folder) ? stamp : undefined
  } catch {
    return undefined
  }
}

/** Sizes and times tell quickly. Where they differ, as in a copy made elsewhere, the content decides. */
async function isCurrent({ sources }, folders) {
  const there = folders.filter((folder) => existsSync(ROOT + folder))
  const differing = there.filter((folder) => listing(folder) !== sources[folder]?.listing)
  for (const folder of differing) if ((await digest(folder)) !== sources[folder]?.digest) return false
  return true
}

/** The compiler is a tool of development: an install for production is without it. */
export function compilerIsThere() {
  try {
    import.meta.resolve('esbuild')
    return existsSync(`${ROOT}infra/build/compile.mjs`)
  } catch {
    return false
  }
}

async function compileAnew() {
  if (!compilerIsThere()) return undefined
  const { compile } = await import('../../infra/build/compile.mjs')
  return compile().catch((error) => {
    if (READ_ONLY.has(error.code)) return undefined
    throw error
  })
}
