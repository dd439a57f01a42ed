import { SAMPLE_MS } from '../../../flows/messages/take-figures.ts'
import type { Sample } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'
import type { PageContext } from './page-context.ts'
import { plot, type Series, type Span } from './plot.ts'

const WEEK_MS = 7 * 86_400_000
const QUARTER_MS = 15 * 60_000

const count = (value: number) => value.toLocaleString('en')
/** Whole ones; a sweep that takes less than that is said to the hundredth. */
const seconds = (value: number) => `${value.toLocaleString('en', { maximumFractionDigits: value < 10 ? 2 : 0 })} s`

type Figure = Omit<Series, 'points'> & { of: (sample: Sample) => number | null }

const FIGURES: readonly Figure[] = [
  { title: 'Messages overdue', say: count, worst: 'highest', of: ({ overdue }) => overdue },
  { title: 'Oldest overdue', say: seconds, worst: 'highest', of: ({ oldestSeconds }) => oldestSeconds },
  { title: 'Sent in the hour before', say: count, worst: 'highest', of: ({ sent }) => sent },
  { title: 'Did not arrive, in the hour before', say: count, worst: 'highest', of: ({ notArrived }) => notArrived },
  { title: 'Urgent calls open', say: count, worst: 'highest', of: ({ urgentCalls }) => urgentCalls },
  { title: 'Workers heard', say: count, worst: 'lowest', of: ({ workers }) => workers },
  { title: 'A sweep took', say: seconds, worst: 'highest', of: ({ sweepSeconds }) => sweepSeconds },
]

/** How the service did in the seven days until now, one small plot for each figure. */
export async function weekPlots({ deps, now, clinic, dayAndClock }: PageContext): Promise<Html> {
  // The quarter that has begun is on it.
  const to = new Date((Math.floor(now.getTime() / QUARTER_MS) + 1) * QUARTER_MS)
  const from = new Date(to.getTime() - WEEK_MS)
  const samples = await deps.store.read.standing.samples(from)
  const { zone } = clinic
  const span: Span = { from, to, now, zone, everyMs: SAMPLE_MS, when: (at) => dayAndClock(at, zone) }
  const drawn = FIGURES.map(({ of, ...series }, index) => {
    const points = samples.flatMap((sample) => {
      const value = of(sample)
      return value === null ? [] : [{ at: sample.at, value }]
    })
    return plot(`plot-${index}`, { ...series, points }, span)
  })
  return html`<div class="plots">${drawn}</div><p>Days begin at midnight in ${zone.replaceAll('_', ' ')}. Where nothing is drawn, no worker kept figures: none was running, or the database was away.</p>`
}
