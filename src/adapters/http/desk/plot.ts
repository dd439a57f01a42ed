import { inZone } from '../../../domain/local-time.ts'
import { html, type Html } from '../pages/html.ts'

/** One figure of a service over a week. */
export interface Series {
  title: string
  /** How a value is said, with its unit. */
  say: (value: number) => string
  points: readonly { at: Date; value: number }[]
  /** Which end is the bad one: what a quarter of an hour is drawn at. */
  worst: 'highest' | 'lowest'
}

export interface Span {
  from: Date
  to: Date
  now: Date
  zone: string
  /** So far apart a value is kept. */
  everyMs: number
  /** How a moment is said. */
  when: (at: Date) => string
}

/** A week is 672 quarters of an hour: each is one pixel wide. */
const QUARTER_MS = 15 * 60_000
const LEFT = 64
const TOP = 8
const HEIGHT = 80
const BELOW = 20
const RIGHT = 8

/** The lowest of 1, 2, 4, 5 or 10 times a power of ten that nothing exceeds; 1 where there is nothing. */
export function topOf(highest: number): number {
  if (highest <= 0) return 1
  const power = 10 ** Math.floor(Math.log10(highest))
  // Within what a computer rounds: 0.3 is not above 3 × 0.1.
  return [1, 2, 4, 5, 10].map((times) => times * power).find((top) => highest <= top * (1 + 1e-9))!
}

/** The worst value of each quarter of an hour, null where nothing was kept of it. */
export function quarters(
  { points, worst }: Pick<Series, 'points' | 'worst'>,
  { from, to }: Pick<Span, 'from' | 'to'>,
): (number | null)[] {
  const count = Math.ceil((to.getTime() - from.getTime()) / QUARTER_MS)
  const found = new Array<number | null>(count).fill(null)
  for (const { at, value } of points) {
    const index = Math.floor((at.getTime() - from.getTime()) / QUARTER_MS)
    if (index < 0 || index >= count) continue
    const known = found[index]
    found[index] = known === null ? value : worst === 'highest' ? Math.max(known!, value) : Math.min(known!, value)
  }
  return found
}

/** Steps, one pixel for each quarter of an hour, broken where nothing is known. */
export function pathOf(values: readonly (number | null)[], top: number): string {
  const height = (value: number) => TOP + HEIGHT - Math.round((value / top) * HEIGHT)
  let path = ''
  for (const [index, value] of values.entries()) {
    if (value === null) continue
    const before = values[index - 1] ?? null
    const y = height(value)
    if (before === null) path += `M${LEFT + index} ${y}`
    else if (height(before) !== y) path += `V${y}`
    const after = values[index + 1] ?? null
    if (after === null || height(after) !== y) path += `H${LEFT + index + 1}`
  }
  return path
}

/** Midnights by the clinic's clock: a day is 23 or 25 hours wide where its clocks change. */
export function midnights({ from, to, zone }: Pick<Span, 'from' | 'to' | 'zone'>): { x: number; label: string }[] {
  const found = []
  let day = inZone(from, zone).setLocale('en').startOf('day')
  for (; day.toMillis() < to.getTime(); day = day.plus({ days: 1 }).startOf('day')) {
    if (day.toMillis() >= from.getTime())
      found.push({
        x: LEFT + Math.round((day.toMillis() - from.getTime()) / QUARTER_MS),
        label: day.toFormat('ccc d'),
      })
  }
  return found
}

/** What the plot says in words: now, the worst of the week and when, and how long nothing is known of. */
export function wordsOf({ points, worst, say }: Series, span: Span): string {
  const last = points.at(-1)
  if (!last) return 'Nothing was kept in this week.'
  const isWorse = worst === 'highest' ? (a: number, b: number) => a > b : (a: number, b: number) => a < b
  const peak = points.reduce((found, each) => (isWorse(each.value, found.value) ? each : found))
  const { from, now, everyMs } = span
  // The moment that has just begun may not have been kept yet.
  const missing = Math.floor((now.getTime() - from.getTime()) / everyMs) - points.length
  const first = now.getTime() - last.at.getTime() > QUARTER_MS ? `Last at ${span.when(last.at)}` : 'Now'
  const gaps = missing > 0 ? ` Nothing is known of ${lasting(missing * everyMs)} of it.` : ''
  return `${first}: ${say(last.value)}. ${worst === 'highest' ? 'Highest' : 'Lowest'} in the week: ${say(peak.value)}, first on ${span.when(peak.at)}.${gaps}`
}

function lasting(ms: number): string {
  const minutes = Math.round(ms / 60_000)
  return minutes < 60 ? `${minutes} min` : `${(minutes / 60).toLocaleString('en', { maximumFractionDigits: 1 })} h`
}

/** A small plot as a picture in the page, said in words too; no script, and nothing of it by colour alone. */
export function plot(id: string, series: Series, span: Span): Html {
  const values = quarters(series, span)
  const top = topOf(Math.max(0, ...values.map((value) => value ?? 0)))
  const right = LEFT + values.length
  const words = wordsOf(series, span)
  const rule = (value: number) => {
    const y = TOP + HEIGHT - Math.round((value / top) * HEIGHT)
    return html`<line class="rule" x1="${LEFT}" x2="${right}" y1="${y}" y2="${y}"/><text x="${LEFT - 6}" y="${y + 4}" text-anchor="end">${series.say(value)}</text>`
  }
  return html`<figure class="plot"><figcaption><b>${series.title}</b> ${words}</figcaption><svg viewBox="0 0 ${right + RIGHT} ${TOP + HEIGHT + BELOW}" role="img" aria-labelledby="${id}-t ${id}-d"><title
    id="${id}-t">${series.title}</title><desc id="${id}-d">${words}</desc>${rule(0)}${rule(top)}${midnights(span).map(
      ({ x, label }) =>
        html`<line class="rule" x1="${x}" x2="${x}" y1="${TOP}" y2="${TOP + HEIGHT + 4}"/>${x + 36 <= right ? html`<text x="${x + 4}" y="${TOP + HEIGHT + 15}">${label}</text>` : null}`,
    )}<path class="drawn" d="${pathOf(values, top)}"/></svg></figure>`
}
