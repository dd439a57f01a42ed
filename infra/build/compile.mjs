// Compiles what is run, with the packages that it uses, into few files that start quickly.
import { createHash } from 'node:crypto'
import { existsSync } from 'node:fs'
import { mkdir, readFile, readdir, rename, rm, writeFile } from 'node:fs/promises'
import { relative } from 'node:path'
import { build } from 'esbuild'
import { BUILD, ROOT, STAMP, digest, listing } from '../../src/cli/build-folder.mjs'

const PROGRAMS = { daysix: 'src/cli/daysix.ts', demo: 'demo/demo.ts', 'make-image': 'src/adapters/db/make-image.ts' }
const SOURCES = ['src', 'demo', 'infra/build']
const FOLDER_NAME = /^[0-9a-f]{16}$/

/**
 * Stay packages: they load files of their own that lie beside them, or are not there at all; or the compiler takes them
 * for what they are not, as it does the estimator of passwords.
 */
const EXTERNAL = ['@electric-sql/pglite', '@node-rs/argon2', '@zxcvbn-ts/*', 'pg-native', '@valkey/*']

/** Packages that were written for `require` still ask for it. */
const REQUIRE = `import { createRequire as createRequireOfDaysix } from 'node:module'
const require = createRequireOfDaysix(import.meta.url)`

/** A compiled file lies elsewhere than its source: what a source reads beside itself is looked for beside the source. */
const places = {
  name: 'places',
  setup({ onLoad }) {
    onLoad({ filter: /\.ts$/ }, async ({ path }) => {
      const text = await readFile(path, 'utf8')
      const source = JSON.stringify(`../../${relative(ROOT, path).replaceAll('\\', '/')}`)
      return { loader: 'ts', contents: text.replaceAll('import.meta.url', `new URL(${source}, import.meta.url).href`) }
    })
  },
}

/** For each file of a package a map of one point: reading the way back into all of them would take longer than a forecast. */
const NO_MAP = Buffer.from('{"version":3,"sources":[""],"mappings":"AAAA"}').toString('base64')
const noMapsOfPackages = {
  name: 'no-maps-of-packages',
  setup({ onLoad }) {
    onLoad({ filter: /node_modules.*\.[cm]?js$/ }, async ({ path }) => {
      const contents = `${await readFile(path, 'utf8')}\n//# sourceMappingURL=data:application/json;base64,${NO_MAP}`
      return { loader: 'default', contents }
    })
  },
}

/**
 * Compiles the present sources into a folder of their own below `.build`, and puts it in force. Wholly or not at all:
 * others may be starting meanwhile, or compiling too.
 *
 * @returns the folder's name
 * @throws what the compiler or the disk says; what was in force before stays so
 */
export async function compile() {
  // Looked at before: what changes meanwhile is noticed by the next start.
  const sources = await presentSources()
  const folder = await nameOf(sources)
  if (!existsSync(BUILD + folder)) await compileInto(folder)
  await writeFile(`${STAMP}.${process.pid}`, JSON.stringify({ folder, sources }))
  await rename(`${STAMP}.${process.pid}`, STAMP)
  const others = (await readdir(BUILD)).filter((name) => FOLDER_NAME.test(name) && name !== folder)
  for (const name of others) await rm(BUILD + name, { recursive: true, force: true })
  return folder
}

/** The container's build has no demo. */
async function presentSources() {
  const there = SOURCES.filter((folder) => existsSync(ROOT + folder))
  const described = there.map(async (folder) => [folder, { listing: listing(folder), digest: await digest(folder) }])
  return Object.fromEntries(await Promise.all(described))
}

/** By what is compiled: the sources, and the versions of the packages. */
async function nameOf(sources) {
  const hash = createHash('sha256').update(await readFile(`${ROOT}package-lock.json`))
  for (const { digest } of Object.values(sources)) hash.update(digest)
  return hash.digest('hex').slice(0, 16)
}

async function compileInto(folder) {
  const aside = `${BUILD}aside-${process.pid}`
  await mkdir(aside, { recursive: true })
  try {
    await build({ ...options(), outdir: aside })
    await rename(aside, BUILD + folder)
  } catch (error) {
    // Another process was quicker, and compiled the same.
    if (!existsSync(BUILD + folder)) throw error
  } finally {
    await rm(aside, { recursive: true, force: true })
  }
}

function options() {
  return {
    absWorkingDir: ROOT,
    entryPoints: Object.fromEntries(Object.entries(PROGRAMS).filter(([, source]) => existsSync(ROOT + source))),
    bundle: true,
    splitting: true,
    format: 'esm',
    platform: 'node',
    target: 'node20.19',
    outExtension: { '.js': '.mjs' },
    sourcemap: 'linked',
    sourcesContent: false,
    legalComments: 'none',
    external: EXTERNAL,
    banner: { js: REQUIRE },
    plugins: [places, noMapsOfPackages],
    logLevel: 'warning',
  }
}
