import { describe, expect, it } from 'vitest'
import {
  midnights,
  pathOf,
  plot,
  quarters,
  topOf,
  wordsOf,
  type Series,
  type Span,
} from '../../src/adapters/http/desk/plot.ts'

// Computed by hand: a pixel for each quarter of an hour from 64, the ground at 88, the top at 8.
const at = (clock: string) => new Date(`2026-03-04T${clock}:00Z`)
const SPAN: Span = {
  now: at('01:58'),
  everyMs: 300_000,
  from: at('00:00'),
  to: at('02:00'),
  zone: 'UTC',
  when: (when: Date) => when.toISOString().slice(11, 16),
}
const SERIES: Series = {
  title: 'Calls & more',
  say: String,
  worst: 'highest',
  points: [
    { at: at('00:00'), value: 5 },
    { at: at('00:05'), value: 9 },
    { at: at('00:10'), value: 2 },
    { at: at('00:15'), value: 2 },
    { at: at('01:00'), value: 4 },
    { at: at('01:55'), value: 4 },
  ],
}

describe('a plot', () => {
  it.each([
    [0, 1],
    [1, 1],
    [3, 4],
    [4, 4],
    [4.5, 5],
    [7, 10],
    [10, 10],
    [11, 20],
    [401, 500],
    [0.3, 0.4],
    [0.02, 0.02],
  ])('of %d at most ends at %d', (highest, top) => expect(topOf(highest)).toBeCloseTo(top, 10))

  it('is drawn at the worst of each quarter of an hour', () => {
    expect(quarters(SERIES, SPAN)).toEqual([9, 2, null, null, 4, null, null, 4])
    expect(quarters({ ...SERIES, worst: 'lowest' }, SPAN)).toEqual([2, 2, null, null, 4, null, null, 4])
  })

  it('leaves out what lies before or after', () => {
    const points = [
      { at: new Date('2026-03-03T23:59:59Z'), value: 7 },
      { at: at('02:00'), value: 7 },
    ]
    expect(quarters({ points, worst: 'highest' }, SPAN)).toEqual(new Array(8).fill(null))
  })

  it('has steps, and a gap where nothing is known', () => {
    expect(pathOf(quarters(SERIES, SPAN), 10)).toBe('M64 16H65V72H66M68 56H69M71 56H72')
    expect(pathOf([3, 3, 3], 4)).toBe('M64 28H67')
    expect(pathOf([null, null], 1)).toBe('')
  })

  it("has its days at the clinic's midnights, also when its clocks go forward", () => {
    // Nova Scotia goes forward on the second Sunday of March, 8 March 2026 (rule from memory): that day has 23 hours.
    const span = { from: new Date('2026-03-07T04:00Z'), to: new Date('2026-03-10T03:00Z'), zone: 'America/Halifax' }
    expect(midnights(span)).toEqual([
      { x: 64, label: 'Sat 7' },
      { x: 64 + 96, label: 'Sun 8' },
      { x: 64 + 96 + 92, label: 'Mon 9' },
    ])
  })

  it('says in words what is now, what was worst, when, and of what nothing is known', () => {
    expect(wordsOf(SERIES, SPAN)).toBe(
      'Now: 4. Highest in the week: 9, first on 00:05. Nothing is known of 1.4 h of it.',
    )
    // 23 moments from 00:00 to 01:50, of which 6 were kept: 17 × 5 min.
    expect(wordsOf({ ...SERIES, worst: 'lowest' }, SPAN)).toMatch(/^Now: 4\. Lowest in the week: 2, first on 00:10\./)
    expect(wordsOf({ ...SERIES, points: SERIES.points.slice(0, 5) }, SPAN)).toBe(
      'Last at 01:00: 4. Highest in the week: 9, first on 00:05. Nothing is known of 1.5 h of it.',
    )
    expect(wordsOf({ ...SERIES, points: [] }, SPAN)).toBe('Nothing was kept in this week.')
  })

  it('is a picture with a name and words, without script or style of its own', () => {
    const { text } = plot('p', SERIES, SPAN)
    expect(text).toMatch(
      /role="img" aria-labelledby="p-t p-d"><title\s+id="p-t">Calls &amp; more<\/title><desc id="p-d">Now: 4\./,
    )
    expect(text).toContain('d="M64 16H65V72H66M68 56H69M71 56H72"')
    expect(text).not.toMatch(/style=|<script/)
  })
})
