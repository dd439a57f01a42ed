import { onTheLine } from '../../../domain/calls/on-the-line.ts'
import { thingsToAsk } from '../../../domain/preparation/things-to-ask.ts'
import { windowWords } from '../../../domain/preparation/cycle/window-words.ts'
import { windowsOf } from '../../../flows/visits/judge-booking.ts'
import { hasCycles } from '../../../domain/preparation/cycle/no-cycle.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { overlapping } from '../../../domain/visits/duration.ts'
import {
  BECAUSE,
  NOT_COLLECTED_BECAUSE,
  OUTCOMES,
  OUTCOME_KINDS,
  outcomeWords,
} from '../../../domain/visits/outcome.ts'
import { PURPOSES } from '../../../domain/visits/purpose.ts'
import { html, type Html } from '../pages/html.ts'
import { telephone } from '../patients/line-note.ts'
import { mark } from '../desk/marks.ts'
import type { PageContext } from '../desk/page-context.ts'
import type { Visit } from '../visits/visits-shown.ts'
import { dateWords, machine } from '../desk/when.ts'
import { cycleDayWords, lmpWords, NEEDS_A_CALL, PREPARATION, spoken, TIMING, secondWords } from '../desk/words.ts'

/** The visits of a day, with room to tick and write. */
export function sheetTable(sheet: PageContext, visits: readonly Visit[]): Html {
  const crowded = overlapping(visits.map(({ booking }) => booking))
  return html`<table class="ledger day-table"><caption class="unseen">Visits in order of time</caption>
<thead><tr><th scope="col">Time</th><th scope="col">Patient</th><th scope="col">Likely cycle day</th><th
  scope="col">Preparation</th><th scope="col">To ask</th><th scope="col">Done</th></tr></thead>
<tbody>${visits.map((visit) => row(sheet, visit, crowded.has(visit.booking.id)))}</tbody></table>`
}

function row(sheet: PageContext, visit: Visit, crowded: boolean): Html {
  const { booking } = visit
  const asks = thingsToAsk({ ...visit, open: visit.open.map(({ reason }) => reason) })
  return html`<tr data-visit="${booking.id}"><td class="time"><time
    datetime="${machine(booking.visitAt, booking.zone)}">${sheet.clock(booking.visitAt, booking.zone)}</time><small>${booking.minutes} min</small>${crowded && html`<small class="act">Overlaps another visit</small>`}</td>
<td class="who">${who(sheet, visit)}</td>
<td>${cycleDay(visit)}${betterWindow(sheet, visit)}</td>
<td>${told(visit)}</td>
<td>${
    asks.length > 0
      ? html`<ul
  class="to-ask">${asks.map((ask) => html`<li>${ask}</li>`)}</ul>`
      : 'As always'
  }</td>
<td class="tick">${ended(sheet, visit)}</td></tr>
`
}

/** Whom to call in, and what is not as usual about the visit. */
function who(sheet: PageContext, visit: Visit): Html {
  const { booking, patient, protocol } = visit
  const second = secondWords(patient)
  const language = sheet.library.languages.get(patient.language)?.name ?? patient.language
  return html`${
    sheet.may('visits:read')
      ? html`<a
  href="${sheet.at(`visits/${booking.id}`)}">${patient.name}</a>`
      : html`<b>${patient.name}</b>`
  }${second && html`<small class="${sheet.clinic.settings.secondOnPaper ? 'second' : 'second on-screen'}">${second}</small>`}${onTheLine(patient) && html`<small>${onTheLine(patient)}</small>`}${whyHere(visit)}${protocol.id !== 'liquid-based-cytology' && html`<small>${protocol.names.en}</small>`}${patient.language !== 'en' && html`<small class="on-screen">Texts in ${language}</small>`}`
}

/** Days to avoid stand out; who has no periods has no day of a cycle. */
export function cycleDay({ forecast, patient: { cycle } }: Visit): Html {
  if (!hasCycles(cycle)) return html`${mark(forecast.rating)} ${spoken(lmpWords(cycle))}`
  const { rating } = forecast
  return html`${mark(rating)} <b>${cycleDayWords(forecast)}</b><small${rating === 'avoid' && html` class="act"`}>${TIMING[rating]}</small><small>LMP ${lastPeriod(cycle)}</small>`
}

/** How the visit ended, or what to press; on paper a box. */
function ended(sheet: PageContext, { booking, patient }: Visit): Html {
  const { outcome } = booking
  const box = html`<span class="box" aria-hidden="true"></span>`
  const isToday = dateIn(booking.visitAt, booking.zone) <= dateIn(sheet.now, booking.zone)
  const mayRecord = isToday && sheet.may('day-sheet:write')
  const to = sheet.at(`day-sheet/${booking.id}`)
  if (outcome)
    return html`<b>${outcomeWords(outcome)}</b>${
      mayRecord &&
      html` <form class="ended" method="post" action="${to}"><button name="outcome" value="none"
  aria-label="Undo: ${outcomeWords(outcome)}, ${patient.name}">Undo</button></form>`
    }`
  return mayRecord ? html`${box}${endForm(to, patient)}` : box
}

/** What is usual by one press; why nothing was collected by two. */
function endForm(to: string, { name }: Patient): Html {
  const press = (value: string, words: string) =>
    html`<button name="outcome" value="${value}" aria-label="${words}: ${name}">${words}</button> `
  return html`<form class="ended" method="post" action="${to}">${OUTCOME_KINDS.filter(
    (kind) => !OUTCOMES[kind].hasBecause,
  ).map((kind) => press(kind, OUTCOMES[kind].label))}<details><summary
  aria-label="Not collected: ${name}">${OUTCOMES['not-collected'].label}</summary>${BECAUSE.map((because) =>
    press(`not-collected:${because}`, NOT_COLLECTED_BECAUSE[because]),
  )}</details></form>`
}

/** What is not routine, and what the patient needs. */
export function whyHere({ booking: { purpose, dueBy, needs } }: Visit): Html {
  return html`${purpose !== 'routine' && html`<small class="act">${PURPOSES[purpose].label}</small>`}${dueBy && html`<small>Due by ${dateWords(dueBy, 'd LLL')}</small>`}${needs.map(
    (words) => html`<small class="act">Needs: <q>${words}</q></small>`,
  )}`
}

/** When the specimen would be better collected, where this day is doubtful. */
function betterWindow({ deps }: PageContext, { booking, patient, forecast }: Visit): Html | null {
  if (forecast.rating === 'best' || forecast.rating === 'fine') return null
  const next = windowsOf(deps, booking, patient.cycle).find(({ to, unsure }) => to > forecast.date && !unsure)
  return next ? html`<small class="on-screen window">Window: ${windowWords(next)}</small>` : null
}

function lastPeriod(cycle: CycleHistory): string {
  const words = lmpWords(cycle)
  return /^\d/.test(words) ? dateWords(words, 'd LLL') : words
}

/** Who was not told is to be called, with the number; short notice only explains. */
export function told({ standing, booking, patient }: Visit): Html {
  const call = NEEDS_A_CALL.has(standing) && booking.outcome === null
  return html`${call ? html`<b class="act">${PREPARATION[standing]}</b> ${telephone(patient.phone, patient)}` : PREPARATION[standing]}${booking.shortNotice && html`<small>Short notice</small>`}${booking.lapses.map((words) => html`<small>The patient wrote: <q>${words}</q></small>`)}`
}
