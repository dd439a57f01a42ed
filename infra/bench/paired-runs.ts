/** What one run showed. */
export interface Run {
  /** Pieces of work a second. */
  pace: number
  /** Milliseconds of processor time that one piece took. */
  cpuMs: number
}

/**
 * Measures each in turn, again and again: a machine that others use too is not equally quick all the time, so only runs
 * that were made one right after the other are compared. Every other round goes backwards, so that nobody is always
 * first.
 * @returns the runs of each, in order; those of one round have the same index
 */
export async function pairedRuns<Name extends string>(
  runs: number,
  measures: Record<Name, () => Promise<Run>>,
): Promise<Record<Name, Run[]>> {
  const names = Object.keys(measures) as Name[]
  const found = Object.fromEntries(names.map((name) => [name, [] as Run[]])) as Record<Name, Run[]>
  for (let round = 0; round < runs; round++) {
    for (const name of round % 2 === 0 ? names : names.toReversed()) found[name].push(await measures[name]())
  }
  return found
}

export function median(values: readonly number[]): number {
  const sorted = inOrder(values)
  const half = Math.floor(sorted.length / 2)
  return sorted.length % 2 === 1 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2
}

const inOrder = (values: readonly number[]) => [...values].sort((a, b) => a - b)

/**
 * Where the true median lies with at least 95 % confidence, whatever the distribution: between the k-th lowest and the
 * k-th highest value (order statistics, e.g. Conover, Practical Nonparametric Statistics, 3.2). With fewer than six
 * values nothing is that sure: then it is the whole range.
 */
export function medianInterval(values: readonly number[]): { low: number; high: number } {
  const sorted = inOrder(values)
  const n = sorted.length
  let outside = 0
  let k = 0
  while (2 * (outside + binomialHalf(n, k)) <= 0.05) outside += binomialHalf(n, k++)
  const from = Math.max(0, k - 1)
  return { low: sorted[from]!, high: sorted[n - 1 - from]! }
}

/** The chance of k heads among n throws of a coin. */
function binomialHalf(n: number, k: number): number {
  let chance = 0.5 ** n
  for (let at = 1; at <= k; at++) chance *= (n - at + 1) / at
  return chance
}

/** How own runs compare with those of the baseline made beside them, as text; above 1 is better than the baseline. */
export function comparison(own: readonly Run[], bare: readonly Run[]): { ratio: number; text: string } {
  const paces = own.map(({ pace }, at) => pace / bare[at]!.pace)
  const cpu = own.map(({ cpuMs }, at) => bare[at]!.cpuMs / cpuMs)
  const ratio = median(paces)
  const processor = `processor ${milliseconds(own)} against ${milliseconds(bare)} ms each, ratio ${withInterval(cpu)}`
  return { ratio, text: `ratio ${withInterval(paces)} of ${own.length}; ${processor}` }
}

/** Median and interval of a row of figures. */
export function withInterval(values: readonly number[]): string {
  const { low, high } = medianInterval(values)
  return `${median(values).toFixed(2)} (${low.toFixed(2)}-${high.toFixed(2)})`
}

const milliseconds = (runs: readonly Run[]) => median(runs.map(({ cpuMs }) => cpuMs)).toFixed(2)

export const paceOf = (runs: readonly Run[]) => `${median(runs.map(({ pace }) => pace)).toFixed(0)}/s`
