import { dateIn } from '../../../domain/local-time.ts'
import { thingsToAsk, ALWAYS_ASK } from '../../../domain/preparation/things-to-ask.ts'
import { clinicClock, dateWords } from '../desk/when.ts'
import { grouped } from '../desk/grouped.ts'
import { byWords, kindWords, MESSAGE_STATE } from '../desk/words.ts'
import { head } from '../pages/head.ts'
import { html, type Html } from '../pages/html.ts'
import { cycleDay, told, whyHere } from '../preparation/day-sheet-table.ts'
import type { Visit } from '../visits/visits-shown.ts'
import type { ClinicPrint, PrintedDay, Untold } from './print-data.ts'
import { blankForms, typingIn } from './print-forms.ts'
import { callTable } from './print-calls.ts'
import { whom, type Paper, type Part } from './print-part.ts'

/**
 * Everything a clinic needs for a day on paper, as one document without scripts.
 * @param style how the style reaches it: a link, or the style itself in a file that must stand alone
 */
export function printDocument(print: ClinicPrint, style: Html): Html {
  const paper: Paper = { ...print, ...clinicClock(print.clinic.settings.clock) }
  return html`<!doctype html>
<html lang="en">
${head(
  `Paper for a day, ${print.clinic.name}`,
  html`<meta name="format-detection" content="telephone=no">
    ${style}`,
)}
<body>
<main>
<h1>${print.clinic.name}: paper for a day</h1>
<p class="screen">Print it with the browser, and see that every page came out: the foot of each says how many there are.</p>
${paper.days.flatMap((day) => daySheets(paper, day))}
${part(paper, callTable(paper))}
${part(paper, untoldTable(paper))}
${part(paper, sentTable(paper))}
${part(paper, openingTable(paper))}
${blankForms().map((form) => part(paper, form))}
<section class="part" tabindex="0" aria-label="Typing it in"><p class="running">${running(paper, 'Typing it in')}</p>${typingIn()}</section>
</main>
</body>
</html>
`
}

/** Whose it is, when and by whom it was printed, and that it must not lie about: on each page. */
function running({ clinic, now, by, dayAndClock }: Paper, title: string): string {
  return `${clinic.name} · ${title} · printed ${dayAndClock(now, clinic.zone)} (${clinic.zone}) by ${by} · holds data about patients: destroy when typed in`
}

function part(paper: Paper, { title, columns, rows, intro }: Part): Html {
  return html`<section class="part" tabindex="0" aria-label="${title}"><h2>${title}</h2>${intro}
<table><thead><tr class="running"><td colspan="${columns.length}">${running(paper, title)}</td></tr>
<tr>${columns.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${rows}</tbody></table></section>
`
}

const none = (columns: readonly string[], words: string) => html`<tr><td colspan="${columns.length}">${words}</td></tr>`

const DAY_COLUMNS = ['Time', 'Patient', 'Likely cycle day', 'Preparation', 'To ask', 'How it ended']

/** A sheet for each clinician or room. */
function daySheets(paper: Paper, { date, visits }: PrintedDay): Html[] {
  const isToday = date === dateIn(paper.now, paper.clinic.zone)
  const day = `${isToday ? 'Rest of today' : 'Tomorrow'}, ${dateWords(date, 'cccc d LLLL yyyy')}`
  if (visits.length === 0) {
    const rows = none(DAY_COLUMNS, `No visits ${isToday ? 'left today' : 'tomorrow'}.`)
    return [part(paper, { title: day, columns: DAY_COLUMNS, rows })]
  }
  const lists = [...grouped(visits, ({ booking }) => booking.clinician)].sort(([a], [b]) => a.localeCompare(b))
  return lists.map(([clinician, ofList]) =>
    part(paper, {
      title: clinician === '' ? day : `${day}, ${clinician}`,
      columns: DAY_COLUMNS,
      intro: html`<p><b>Ask everyone.</b> ${ALWAYS_ASK.join(' ')}</p>`,
      rows: ofList.map((visit) => visitRow(paper, visit)),
    }),
  )
}

function visitRow(paper: Paper, visit: Visit): Html {
  const { booking, patient, protocol } = visit
  const asks = thingsToAsk({ ...visit, open: visit.open.map(({ reason }) => reason) })
  return html`<tr data-visit="${booking.id}"><td class="time"><b>${paper.clock(booking.visitAt, booking.zone)}</b><small>${booking.minutes} min</small></td>
<td class="whom">${whom(paper, patient)}${whyHere(visit)}<small>${protocol.names.en}</small></td>
<td>${cycleDay(visit)}</td>
<td>${told(visit)}</td>
<td>${asks.length > 0 ? asks.map((ask) => html`<p>□ ${ask}</p>`) : 'As always'}</td>
<td class="blank">□ collected<br>□ not, because:<br><br>□ did not come</td></tr>
`
}

const UNTOLD_COLUMNS = ['To be told before', 'Patient', 'Visit', 'What', 'Words', 'Told (when, by whom)']

/** Whoever is not told by a message must be told by a person. */
function untoldTable(paper: Paper): Part {
  const { untold } = paper
  const rows =
    untold.length === 0
      ? none(UNTOLD_COLUMNS, 'Nothing was still to be sent.')
      : untold.map((each) => untoldRow(paper, each))
  return {
    title: 'Still to be sent: tell by telephone',
    columns: UNTOLD_COLUMNS,
    intro: html`<p>Due by the end of tomorrow. Had the service run, these would have gone by themselves: the most pressing first. Speak to the patient alone. On a voicemail, give only the clinic's name and number.</p>`,
    rows,
  }
}

function untoldRow({ dayAndClock, ...paper }: Paper, { message, visit, words }: Untold): Html {
  const { booking, patient } = visit
  return html`<tr data-visit="${booking.id}"><td class="time"><b>${dayAndClock(message.notAfter, booking.zone)}</b><small>planned ${dayAndClock(message.sendAt, booking.zone)}</small></td>
<td class="whom">${whom(paper, patient)}</td><td>${dayAndClock(booking.visitAt, booking.zone)}</td>
<td>${kindWords(message)}${byWords(message.channel)}</td><td lang="${message.language}" dir="auto">${words}</td><td class="blank"></td></tr>
`
}

const SENT_COLUMNS = ['Visit', 'Patient', 'What', 'When', 'Became of it']

/** So that nobody is told twice, or otherwise than before. */
function sentTable(paper: Paper): Part {
  const visits = paper.days.flatMap((day) => day.visits)
  const rows = visits.flatMap((visit) =>
    (paper.sent.get(visit.booking.id) ?? []).map((message) => {
      const { booking, patient } = visit
      const at = paper.dayAndClock(message.sentAt ?? message.sendAt, booking.zone)
      return html`<tr data-visit="${booking.id}"><td class="time">${paper.dayAndClock(booking.visitAt, booking.zone)}</td><td class="whom"><b>${patient.name}</b></td>
<td>${kindWords(message)}${byWords(message.channel)}</td><td>${at}</td><td>${MESSAGE_STATE[message.state]}</td></tr>
`
    }),
  )
  return {
    title: 'Sent already, for the visits above',
    columns: SENT_COLUMNS,
    rows: rows.length === 0 ? none(SENT_COLUMNS, 'Nothing was sent yet.') : rows,
  }
}

const OPENING_COLUMNS = ['Day', 'Free times: strike out what is given away']

function openingTable({ openings, clinic, clock }: Paper): Part {
  const days = [...grouped(openings, ({ startsAt }) => dateIn(startsAt, clinic.zone))]
  const rows = days.map(([date, slots]) => {
    const times = slots.map(
      ({ startsAt, clinician }) =>
        html`<span class="slot">□ ${clock(startsAt, clinic.zone)}${clinician && ` ${clinician}`}</span> `,
    )
    return html`<tr><td class="time">${dateWords(date)}</td><td>${times}</td></tr>
`
  })
  return {
    title: 'Free times, for a week',
    columns: OPENING_COLUMNS,
    rows: rows.length === 0 ? none(OPENING_COLUMNS, 'No free times in the next seven days.') : rows,
  }
}
