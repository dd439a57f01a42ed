// What `npm ci` ends with: compiles the sources, and makes the database that an embedded one starts from.
import { existsSync } from 'node:fs'
import { readdir, rm, symlink } from 'node:fs/promises'
import { basename } from 'node:path'
import { BUILD, ROOT } from '../../src/cli/build-folder.mjs'
import { compilerIsThere } from '../../src/cli/compiled.mjs'

/** Left behind by what was cut short, or by other versions. */
const LEFT_OVER = /^aside-\d+$|^compiled\.json\.|^database-/

/**
 * `npx daysix` looks here first. Without it npm installs this folder once more into a cache of its own, which two
 * commands that start at once may leave broken.
 */
async function link() {
  await symlink('../../src/cli/daysix.mjs', `${ROOT}node_modules/.bin/daysix`).catch(({ code }) => {
    if (code !== 'EEXIST' && code !== 'ENOENT') process.stderr.write(`npx daysix was not made ready: ${code}\n`)
  })
}

async function make() {
  const { compile } = await import('./compile.mjs')
  const folder = await compile()
  const { makeImage } = await import(new URL(`../../.build/${folder}/make-image.mjs`, import.meta.url).href)
  const image = basename(await makeImage())
  for (const name of await readdir(BUILD)) {
    if (LEFT_OVER.test(name) && name !== image) await rm(BUILD + name, { recursive: true, force: true })
  }
}

await link()
if (compilerIsThere()) await make()
// No fault of the install: a container compiles in another stage. Whoever starts Daysix without it is told.
else if (!existsSync(BUILD))
  process.stderr.write('Daysix is not compiled by this install: the compiler is a tool of development.\n')
