import { defineConfig } from 'vitest/config'

// Real servers, browsers and calls are slow on a busy machine. These limits only end what hangs; what must be quick is
// measured by the benchmarks, never by a test's clock.
const PATIENCE_MS = 180_000

export default defineConfig({
  test: {
    root: new URL('..', import.meta.url).pathname,
    globalSetup: 'tests/harness/global-setup.ts',
    include: ['tests/**/*.test.ts'],
    testTimeout: PATIENCE_MS,
    hookTimeout: PATIENCE_MS,
    maxWorkers: 2,
    expect: { poll: { timeout: 30_000 } },
  },
})
