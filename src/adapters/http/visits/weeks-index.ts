import { addDays } from '../../../domain/preparation/cycle/days.ts'
import type { CalendarDate } from '../../../domain/preparation/cycle/history.ts'
import { html, type Html } from '../pages/html.ts'
import type { PageContext } from '../desk/page-context.ts'
import { dateWords } from '../desk/when.ts'

interface WeeksIndex {
  sheet: PageContext
  today: CalendarDate
  chosen: CalendarDate
  counts: { date: CalendarDate; visits: number }[]
  days: number
}

/** The coming weeks at a glance: how many visits on each day, each a link to that day. */
export function weeksIndex({ sheet, today, chosen, counts, days }: WeeksIndex): Html {
  const byDate = new Map(counts.map(({ date, visits }) => [date, visits]))
  const monday = addDays(today, 1 - weekdayOf(today))
  const last = addDays(today, days - 1)
  const weeks = Array.from({ length: Math.ceil((weekdayOf(today) - 1 + days) / 7) }, (_, week) =>
    addDays(monday, week * 7),
  )
  return html`<table class="weeks"><caption>Visits by day</caption>
<thead><tr><th scope="col">Week of</th>${['Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat', 'Sun'].map(
    (name) => html`<th
  scope="col">${name}</th>`,
  )}</tr></thead>
<tbody>${weeks.map(
    (week) => html`<tr><th
  scope="row">${dateWords(week, 'd LLL')}</th>${Array.from({ length: 7 }, (_, day) => cell(addDays(week, day)))}</tr>\n`,
  )}</tbody></table>`

  function cell(date: CalendarDate): Html {
    if (date < today || date > last) return html`<td></td>`
    const visits = byDate.get(date) ?? 0
    return html`<td${visits === 0 && html` class="none"`}><a
      href="${sheet.at(`bookings?from=${date}`)}"${date === chosen && html` aria-current="date"`}><small><span
        class="unseen">${dateWords(date, 'cccc')} </span>${dateWords(date, 'd')}<span
          class="unseen"> ${dateWords(date, 'LLLL')}:</span></small> ${visits === 0 ? '–' : visits}<span
            class="unseen"> ${visits === 1 ? 'visit' : 'visits'}</span></a></td>`
  }
}

function weekdayOf(date: CalendarDate): number {
  return Number(dateWords(date, 'E'))
}
