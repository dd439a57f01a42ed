import { isCovered, isFree, type Slot } from '../../../domain/visits/slot.ts'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { html, type Html } from '../pages/html.ts'
import { grouped } from '../desk/grouped.ts'
import type { PageContext } from '../desk/page-context.ts'
import { dateWords, typedClock } from '../desk/when.ts'

/** A week, a column a day: each time with its state in words and shape. */
export function weekGrid(sheet: PageContext, monday: string, slots: readonly Slot[]): Html {
  const { zone } = sheet.clinic
  const byDay = grouped(slots, ({ startsAt }) => dateIn(startsAt, zone))
  const dates = Array.from({ length: 7 }, (_, day) => addDays(monday, day))
  return html`<div class="grid">${dates.map((date) => day(sheet, date, byDay.get(date) ?? []))}</div>
<ul class="legend"><li><span class="t free">○</span> free</li><li><span
  class="t held">◐</span> held for a patient</li><li><span class="t taken">●</span> booked</li></ul>`
}

function day(sheet: PageContext, date: string, slots: readonly Slot[]): Html {
  const free = slots.filter((slot) => isFree(slot, sheet.now)).length
  return html`<section class="day-column" aria-labelledby="d-${date}"><h2 id="d-${date}">${dateWords(date)}</h2>
${slots.length === 0 ? html`<p class="nothing">–</p>` : html`<ul>${slots.map((slot) => time(sheet, date, slot, slots))}</ul>`}
${free > 0 && closeForm(sheet, date, free)}</section>
`
}

function time(sheet: PageContext, date: string, slot: Slot, ofDay: readonly Slot[]): Html {
  const { startsAt, endsAt, clinician, bookingId, heldUntil, overbooked } = slot
  const { zone } = sheet.clinic
  const at = html`${sheet.clock(startsAt, zone)}${clinician && html` <small>${clinician}</small>`}`
  if (isFree(slot, sheet.now)) return free(sheet, date, slot, at, isCovered(slot, ofDay, sheet.now))
  const until = html`<small>until ${sheet.clock(endsAt!, zone)}</small>`
  if (slot.state === 'taken')
    return html`<li><span class="t taken" aria-hidden="true">●</span> <a
      href="${sheet.at(`visits/${bookingId}`)}">${at}</a> <small>${overbooked ? 'overbooked' : 'booked'}</small> ${until}</li>`
  return html`<li><span class="t held" aria-hidden="true">◐</span> <a
      href="${sheet.at(`visits/${bookingId}`)}">${at}</a> <small>held until ${sheet.dayAndClock(heldUntil!, zone)}</small></li>`
}

/** A free time, to be booked or taken away. One during which somebody is still there is shown, and cannot be booked. */
function free(sheet: PageContext, date: string, slot: Slot, at: Html, covered: boolean): Html {
  const { id, startsAt, clinician, minutes } = slot
  const { zone } = sheet.clinic
  const past = startsAt <= sheet.now
  return html`<li><span class="t free" aria-hidden="true">○</span> ${
    past || covered
      ? at
      : html`<a
    href="${sheet.at(`book?date=${date}&time=${typedClock(startsAt, zone)}&clinician=${encodeURIComponent(clinician)}`)}"
      aria-label="Book ${dateWords(date)} ${sheet.clock(startsAt, zone)}">${at}</a>`
  }${covered && html` <small>no room</small>`}${minutes !== null && html` <small>${minutes} min</small>`}${
    !past &&
    html` <form method="post"
        action="${sheet.at(`openings/${id}/remove`)}"><input type="hidden" name="date" value="${date}"><button
          aria-label="Remove ${dateWords(date)} ${sheet.clock(startsAt, zone)}">×</button></form>`
  }</li>`
}

/** Two presses: closing a day takes all its free times away. */
function closeForm(sheet: PageContext, date: string, free: number): Html {
  return html`<details><summary id="c-${date}">Close the day</summary><form method="post"
    action="${sheet.at('openings/close')}"><input type="hidden" name="date"
      value="${date}"><p>${free === 1 ? '1 free opening goes' : `${free} free openings go`}. Held and booked times stay.</p><button>Close ${dateWords(date)}</button></form></details>`
}
