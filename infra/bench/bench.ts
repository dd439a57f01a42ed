// Runs every benchmark beside this file, or those named: `npm run bench -- forecast`.
// Each `<name>.bench.ts` exports `bench()`, prints its own figures and a ratio to a bare baseline measured in the same
// run.
// `--runs 15`: how often those that take turns with their baseline (booking, dispatch) measure each of both.
// `--n 2000`: of how many visits the feed tells.
// `--stores embedded,PostgreSQL`: on which stores, of all that are at hand.
import { readdir } from 'node:fs/promises'
import { parseArgs } from 'node:util'

export interface BenchOptions {
  /** Paired runs; undefined = as many as the benchmark thinks enough. */
  runs?: number
  /** Pieces of work; undefined = as many as the benchmark thinks enough. */
  n?: number
  /** Names of stores; undefined = all. */
  stores?: string[]
}

const options = { runs: { type: 'string' }, n: { type: 'string' }, stores: { type: 'string' } } as const
const { values, positionals: wanted } = parseArgs({ options, allowPositionals: true })

function optionsOf({ runs, n, stores }: typeof values): BenchOptions {
  for (const [name, given] of Object.entries({ runs, n }))
    if (given !== undefined && !/^[1-9]\d*$/.test(given)) throw new Error(`--${name} takes a number, e.g. --${name} 15`)
  return {
    ...(runs && { runs: Number(runs) }),
    ...(n && { n: Number(n) }),
    ...(stores && { stores: stores.split(',') }),
  }
}

const files = (await readdir(new URL('.', import.meta.url))).filter((file) => file.endsWith('.bench.ts')).sort()
for (const file of files) {
  if (wanted.length > 0 && !wanted.some((name) => file.startsWith(name))) continue
  const { bench } = (await import(new URL(file, import.meta.url).href)) as {
    bench: (options: BenchOptions) => Promise<void>
  }
  await bench(optionsOf(values))
}
