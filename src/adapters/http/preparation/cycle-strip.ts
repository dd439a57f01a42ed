import type { CalendarDate, DayForecast } from '../../../domain/preparation/cycle/history.ts'
import type { StripRun, WeeksStrip } from '../../../domain/preparation/cycle/strip.ts'
import { html, type Html } from '../pages/html.ts'
import { mark } from '../desk/marks.ts'
import { dateWords } from '../desk/when.ts'
import { DAYS } from '../desk/words.ts'

const DAY_WIDTH = 22
const WEEK_WIDTH = 7 * DAY_WIDTH
const TOP = 18
const HEIGHT = 44
const BOTTOM = TOP + HEIGHT
const ALL = BOTTOM + 18

interface Drawn {
  strip: WeeksStrip
  visit: CalendarDate
  today: CalendarDate
}

/** The weeks around a visit: a drawing, week by week, that wraps on narrow screens, and the same in words. */
export function stripFigure(drawn: Drawn): Html {
  const { strip, visit } = drawn
  return html`<figure class="strip">
<svg width="0" height="0" aria-hidden="true" focusable="false" class="patterns"><defs>
<pattern id="bars" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="5"
  height="5" fill="#f3e4d3"/><rect width="2.4" height="5" fill="#8c3b14"/></pattern>
</defs></svg>
<div class="weeks-drawn" role="img"
  aria-label="The weeks around ${dateWords(visit, 'cccc d LLLL')}; the same in words follows">${strip.weeks.map((days) => weekDrawing(days, drawn))}</div>
<figcaption>
<ul class="legend"><li><svg class="key" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true"><rect x="3" y="4"
  width="10" height="12" fill="url(#bars)"/></svg> the taller, the likelier a day to avoid</li><li><svg class="key"
    viewBox="0 0 16 16" width="16" height="16" aria-hidden="true"><rect class="best" y="5" width="16"
      height="6"/></svg> best days</li><li><svg class="key" viewBox="0 0 16 16" width="16" height="16"
        aria-hidden="true"><rect class="frame" x="2" y="1" width="12" height="14"/></svg> the visit</li></ul>
<details><summary>The same in words</summary><ul class="runs">${strip.runs.map(run)}</ul></details>
</figcaption></figure>`
}

function weekDrawing(days: readonly DayForecast[], { visit, today }: Drawn): Html {
  return html`<svg viewBox="0 0 ${WEEK_WIDTH} ${ALL}" width="${WEEK_WIDTH}" height="${ALL}" focusable="false"
    aria-hidden="true">
<text class="monday" x="2" y="12">${dateWords(days[0]!.date)}</text>
<path class="rule" d="M0.5 ${TOP - 4}V${BOTTOM}H${WEEK_WIDTH}"/>
${days.map((day, index) => dayDrawing(day, index * DAY_WIDTH, day.date === visit, day.date === today))}</svg>`
}

/**
 * One date: a bar as high as its chance of being a day to avoid, a band where it is best, a frame where the visit is.
 */
function dayDrawing(
  { date, rating, avoidProbability }: DayForecast,
  x: number,
  isVisit: boolean,
  isToday: boolean,
): Html {
  const high = Math.round(avoidProbability * HEIGHT * 10) / 10
  return html`${
    rating === 'best' &&
    html`<rect class="best" x="${x}" y="${TOP}" width="${DAY_WIDTH}"
    height="6"/>`
  }${
    high > 0.4 &&
    html`<rect x="${x + 3}" y="${Math.round((BOTTOM - high) * 10) / 10}"
      width="${DAY_WIDTH - 6}" height="${high}" fill="url(#bars)" class="bar"/>`
  }${
    isVisit &&
    html`<rect class="frame"
        x="${x + 1}" y="${TOP - 3}" width="${DAY_WIDTH - 2}" height="${HEIGHT + 19}"/>`
  }<text
          class="day${isToday ? ' today' : ''}" x="${x + DAY_WIDTH / 2}" y="${BOTTOM + 13}"
            text-anchor="middle">${dateWords(date, 'd')}</text>`
}

function run({ from, to, rating, chance }: StripRun): Html {
  const days = from === to ? dateWords(from) : `${dateWords(from)} to ${dateWords(to)}`
  return html`<li>${mark(rating)} ${days}: ${DAYS[rating]}${rating !== 'best' && html`, ${tenths(chance.least, chance.most)}`}</li>`
}

function tenths(least: number, most: number): string {
  const [low, high] = [Math.round(least * 10), Math.round(most * 10)]
  if (high === 0) return 'hardly any chance of a day to avoid'
  return low === high ? `about ${high} in 10 for a day to avoid` : `${low} to ${high} in 10 for a day to avoid`
}
