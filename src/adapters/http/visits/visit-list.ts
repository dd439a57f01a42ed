import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import { onTheLine } from '../../../domain/calls/on-the-line.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { html, type Html } from '../pages/html.ts'
import { grouped } from '../desk/grouped.ts'
import { timing } from '../desk/marks.ts'
import type { PageContext } from '../desk/page-context.ts'
import type { Visit } from './visits-shown.ts'
import { dateWords, machine } from '../desk/when.ts'
import { NEEDS_A_CALL, phoneWords, PREPARATION, secondWords } from '../desk/words.ts'

/** Visits by day, as a ledger: time in the margin, then who, when in the cycle, how prepared, and what is open. */
export function visitList(sheet: PageContext, visits: readonly Visit[], cancelledToo = false): Html {
  const days = grouped(visits, ({ booking }) => dateIn(booking.visitAt, booking.zone))
  return html`<table class="ledger"><caption class="unseen">Visits in order of time</caption>
<thead><tr><th scope="col">Time</th><th scope="col">Patient</th><th scope="col">Timing</th><th
  scope="col">Preparation</th><th scope="col">Open</th></tr></thead>
${[...days].map(
  ([
    date,
    ofDay,
  ]) => html`<tbody><tr class="day"><th scope="rowgroup" colspan="5">${dateWords(date, 'cccc d LLLL yyyy')}</th></tr>
${ofDay.map((visit) => row(sheet, visit, cancelledToo))}</tbody>
`,
)}</table>`
}

function row(sheet: PageContext, visit: Visit, cancelledToo: boolean): Html {
  const { booking, patient } = visit
  const cancelled = booking.state === 'cancelled'
  const otherZone = booking.zone !== sheet.clinic.zone && html` <small>${booking.zone}</small>`
  return html`<tr><td class="time"><time
    datetime="${machine(booking.visitAt, booking.zone)}">${sheet.clock(booking.visitAt, booking.zone)}</time>${otherZone}</td>
<td class="who"><a id="v-${booking.id}"
  href="${sheet.at(`visits/${booking.id}`)}">${patient.name}</a><small>${secondWords(patient) && `${secondWords(patient)}; `}${phoneWords(patient.phone)}${booking.clinician && `, ${booking.clinician}`}</small>${onTheLine(patient) && html`<small>${onTheLine(patient)}</small>`}</td>
<td>${cancelled && cancelledToo ? 'Cancelled' : timing(visit.forecast)}</td>
<td>${!cancelled && preparation(visit)}</td>
<td>${openThings(sheet, visit)}</td></tr>
`
}

export function preparation({ standing, booking }: Visit): Html {
  const words = NEEDS_A_CALL.has(standing) ? html`<b class="act">${PREPARATION[standing]}</b>` : PREPARATION[standing]
  return html`${words}${
    booking.shortNotice &&
    html`<small
    class="act">Short notice: not the full hours</small>`
  }${
    booking.lapses.length > 0 &&
    html`<small
      class="act">The patient reported a lapse</small>`
  }`
}

function openThings(sheet: PageContext, { open, booking }: Visit): Html | string {
  if (open.length === 0) return booking.confirmedAt ? 'Confirmed' : ''
  return html`<ul class="reasons">${open.map(
    ({ id, reason }) => html`<li><a
    href="${sheet.at(`calls#${id}`)}">${FOLLOW_UP_REASONS[reason].title}</a></li>`,
  )}</ul>`
}
