// What `npm ci` ends with: compiles the sources.
import { compilerIsThere } from '../../src/cli/compiled.mjs'

if (compilerIsThere()) {
  const { clearAsides, compile } = await import('./compile.mjs')
  await clearAsides()
  await compile()
} else {
  // No fault of the install: a container compiles in another stage. Whoever starts Daysix without it is told.
  process.stderr.write('Daysix is not compiled by this install: the compiler is a tool of development.\n')
}
