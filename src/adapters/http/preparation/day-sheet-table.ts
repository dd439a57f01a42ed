import { thingsToAsk } from '../../../domain/preparation/things-to-ask.ts'
import { html, type Html } from '../pages/html.ts'
import { mark } from '../desk/marks.ts'
import type { PageContext } from '../desk/page.ts'
import type { Visit } from '../visits/visits-shown.ts'
import { clock, dateWords, machine } from '../desk/when.ts'
import { cycleDayWords, lmpWords, PREPARATION, TIMING } from '../desk/words.ts'

/** The visits of a day, with room to tick and write. */
export function sheetTable(sheet: PageContext, visits: readonly Visit[]): Html {
  return html`<table class="ledger day-table"><caption class="unseen">Visits in order of time</caption>
<thead><tr><th scope="col">Time</th><th scope="col">Patient</th><th scope="col">Likely cycle day</th><th scope="col">Preparation</th><th scope="col">To ask</th><th scope="col">Done</th></tr></thead>
<tbody>${visits.map((visit) => row(sheet, visit))}</tbody></table>`
}

function row(sheet: PageContext, visit: Visit): Html {
  const { booking, patient, forecast, protocol } = visit
  const asks = thingsToAsk({ ...visit, open: visit.open.map(({ reason }) => reason) })
  return html`<tr><td class="time"><time datetime="${machine(booking.visitAt, booking.zone)}">${clock(booking.visitAt, booking.zone)}</time></td>
<td class="who">${sheet.may('visits:read') ? html`<a href="${sheet.at(`visits/${booking.id}`)}">${patient.name}</a>` : html`<b>${patient.name}</b>`}${protocol.id !== 'liquid-based-cytology' && html`<small>${protocol.names.en}</small>`}${patient.language !== 'en' && html`<small>Texts in ${sheet.library.languages.get(patient.language)?.name ?? patient.language}</small>`}</td>
<td>${mark(forecast.rating)} <b>${cycleDayWords(forecast)}</b><small>${TIMING[forecast.rating]}; LMP ${lastPeriod(visit)}</small></td>
<td>${told(visit)}</td>
<td>${asks.length > 0 ? html`<ul class="asks">${asks.map((ask) => html`<li>${ask}</li>`)}</ul>` : 'Nothing in particular'}</td>
<td class="tick"><span class="box" aria-hidden="true"></span></td></tr>
`
}

function lastPeriod({ patient: { cycle } }: Visit): string {
  const words = lmpWords(cycle)
  return /^\d/.test(words) ? dateWords(words, 'd LLL') : words
}

function told({ standing, booking }: Visit): Html {
  return html`${PREPARATION[standing]}${booking.shortNotice && html`<small class="act">Short notice: not the full hours</small>`}${booking.lapses.map((words) => html`<small>The patient wrote: <q>${words}</q></small>`)}`
}
