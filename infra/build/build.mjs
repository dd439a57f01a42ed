// What `npm ci` ends with: compiles the sources, and makes the database that an embedded one starts from.
import { existsSync } from 'node:fs'
import { readdir, rm } from 'node:fs/promises'
import { basename } from 'node:path'
import { BUILD } from '../../src/cli/build-folder.mjs'
import { compilerIsThere } from '../../src/cli/compiled.mjs'

/** Left behind by what was cut short, or by other versions. */
const LEFT_OVER = /^aside-\d+$|^compiled\.json\.|^database-/

async function make() {
  const { compile } = await import('./compile.mjs')
  const folder = await compile()
  const { makeImage } = await import(new URL(`../../.build/${folder}/make-image.mjs`, import.meta.url).href)
  const image = basename(await makeImage())
  for (const name of await readdir(BUILD)) {
    if (LEFT_OVER.test(name) && name !== image) await rm(BUILD + name, { recursive: true, force: true })
  }
}

if (compilerIsThere()) await make()
// No fault of the install: a container compiles in another stage. Whoever starts Daysix without it is told.
else if (!existsSync(BUILD))
  process.stderr.write('Daysix is not compiled by this install: the compiler is a tool of development.\n')
