import { runCompiled } from '../src/cli/compiled.mjs'

await runCompiled('demo', ['src', 'demo', 'infra/build'])
