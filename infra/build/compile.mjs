// Compiles the command and the demo, with the packages they use, into few files that start quickly.
import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { readFile, readdir, rename, rm, writeFile } from 'node:fs/promises'
import { join, relative } from 'node:path'
import { build } from 'esbuild'
import { BUILD, ROOT, STAMP, digest, listing } from '../../src/cli/compiled.mjs'

const PROGRAMS = { daysix: 'src/cli/daysix.ts', demo: 'demo/demo.ts' }
const SOURCES = ['src', 'demo', 'infra/build']

/** Stay packages: they load files of their own that lie beside them, or are not there at all. */
const EXTERNAL = ['@electric-sql/pglite', '@node-rs/argon2', 'pg-native', '@valkey/*']

/** Packages that were written for `require` still ask for it. */
const REQUIRE = `import { createRequire as createRequireOfDaysix } from 'node:module'
const require = createRequireOfDaysix(import.meta.url)`

/** A compiled file lies elsewhere than its source: what a source reads beside itself is looked for beside the source. */
const places = {
  name: 'places',
  setup({ onLoad }) {
    onLoad({ filter: /\.ts$/ }, async ({ path }) => {
      if (path.includes('node_modules')) return undefined
      const text = await readFile(path, 'utf8')
      const source = JSON.stringify(`../../${relative(ROOT, path).replaceAll('\\', '/')}`)
      return { loader: 'ts', contents: text.replaceAll('import.meta.url', `new URL(${source}, import.meta.url).href`) }
    })
  },
}

/** Only errors of our own are looked for in sources. */
const noMapsOfPackages = {
  name: 'no-maps-of-packages',
  setup({ onLoad }) {
    const EMPTY = '\n//# sourceMappingURL=data:application/json;base64,' + Buffer.from('{"version":3,"sources":[""],"mappings":"A"}').toString('base64')
    onLoad({ filter: /node_modules.*\.[cm]?js$/ }, ({ path }) => ({ loader: 'default', contents: readFileSync(path, 'utf8') + EMPTY }))
  },
}

/**
 * Compiles the present sources into a folder of their own below `.build`, and puts it in force. Whole or not at all: others
 * may be starting meanwhile, or compiling too.
 * @returns the folder's name
 */
export async function compile() {
  const sources = Object.fromEntries(await Promise.all(SOURCES.map(async (folder) => [folder, { listing: listing(folder), digest: await digest(folder) }])))
  const lock = await readFile(join(ROOT, 'package-lock.json'))
  const folder = createHash('sha256').update(lock).update(JSON.stringify(Object.values(sources).map(({ digest }) => digest))).digest('hex').slice(0, 16)
  const aside = join(BUILD, `aside-${process.pid}`)
  await compileInto(aside)
  await rename(aside, join(BUILD, folder)).catch(() => rm(aside, { recursive: true }))
  await writeFile(`${STAMP}.${process.pid}`, JSON.stringify({ folder, sources }))
  await rename(`${STAMP}.${process.pid}`, STAMP)
  for (const each of await readdir(BUILD)) if (/^[0-9a-f]{16}$/.test(each) && each !== folder) await rm(join(BUILD, each), { recursive: true, force: true })
  return folder
}

function compileInto(outdir) {
  return build({
    absWorkingDir: ROOT,
    entryPoints: PROGRAMS,
    outdir,
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
    plugins: process.env.NOMAPS ? [places, noMapsOfPackages] : [places],
    logLevel: 'warning',
  })
}
