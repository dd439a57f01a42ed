import { defineConfig } from 'vitest/config'
import { DearestFirst } from './harness/dearest-first.ts'
import { SOON } from './harness/patience.ts'
import { DearestFiles } from './harness/dearest-files.ts'

// Real servers, browsers and calls are slow on a busy machine. These limits only end what hangs; what must be quick is
// measured by the benchmarks, never by a test's clock.
const PATIENCE_MS = 300_000

export default defineConfig({
  test: {
    root: new URL('..', import.meta.url).pathname,
    globalSetup: 'tests/harness/global-setup.ts',
    include: ['tests/**/*.test.ts'],
    reporters: ['default', new DearestFiles()],
    sequence: { sequencer: DearestFirst },
    // A worker loads the modules of the service once for all files that it runs: to do so for each is a third of the
    // run. So a file leaves the process as it found it (environment, listeners).
    isolate: false,
    testTimeout: PATIENCE_MS,
    hookTimeout: PATIENCE_MS,
    maxWorkers: 2,
    expect: { poll: SOON },
  },
})
