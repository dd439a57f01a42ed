import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import { asReached, whatToDo, withEmergency, wordsToSay } from '../../../domain/calls/words-to-say.ts'
import type { Call, Card } from '../calls/call-data.ts'
import { dateWords, longDay } from '../desk/when.ts'
import { nobodyOfOurs, phoneWords, URGENCY } from '../desk/words.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import { whom, type Paper, type Part } from './print-part.ts'

const COLUMNS = ['When', 'Whom', 'Why, and what to do', 'What to say', 'What came of it']

/** The open calls, as the call list has them: whom, which number, why, and what to say. */
export function callTable(paper: Paper): Part {
  const { cards, callsLeftOut } = paper
  const rows: Child =
    cards.length === 0
      ? html`<tr><td colspan="5">Nobody needs a call.</td></tr>`
      : cards.map((card) => cardRows(paper, card))
  return {
    title: 'Open calls',
    columns: COLUMNS,
    intro: html`<p>Alarms first. Speak to the patient alone. On a voicemail, give only the clinic's name and number.</p>${callsLeftOut > 0 && html`<p class="act">${callsLeftOut} more are open and not on this paper.</p>`}`,
    rows,
  }
}

function cardRows(paper: Paper, card: Card): Html[] {
  return card.map((call) => callRow(paper, call))
}

function callRow(paper: Paper, call: Call): Html {
  const { followUp, patient, booking } = call
  const { reason, phone, detail } = followUp
  const { title, urgency } = FOLLOW_UP_REASONS[reason]
  const unknown = html`${nobodyOfOurs(followUp)}<small>${phone && phoneWords(phone)}</small>`
  // The number that it is about may be another than the patient's.
  const other = patient && phone !== null && phone !== patient.phone && html`<small>about ${phoneWords(phone)}</small>`
  return html`<tr data-call="${followUp.id}"><td class="time"><b>${URGENCY[urgency]}</b><small>since ${paper.dayAndClock(followUp.openedAt, paper.clinic.zone)}</small></td>
<td class="whom">${patient ? whom(paper, patient) : unknown}${other}${booking && html`<small>visit ${paper.dayAndClock(booking.visitAt, booking.zone)}</small>`}</td>
<td><b>${title}</b><p>${whatToDo(reason, patient)}</p>${typeof detail.words === 'string' && html`<p>The patient wrote: <q>${detail.words}</q></p>`}${typeof detail.why === 'string' && html`<p>${detail.why}</p>`}</td>
<td>${sayOf(paper, call)}</td><td class="blank"></td></tr>
`
}

function sayOf({ clinic, clock }: Paper, { followUp, patient, booking, dates }: Call): string | null {
  const visit = booking ? `on ${longDay(booking.visitAt, booking.zone)} at ${clock(booking.visitAt, booking.zone)}` : ''
  const runs = dates.map(({ from, to }) => (from === to ? dateWords(from) : `${dateWords(from)} to ${dateWords(to)}`))
  const words = wordsToSay(followUp.reason, { visit, dates: runs.length > 0 ? runs.join('; ') : 'another day' })
  return words && withEmergency(asReached(words, patient), clinic.settings.emergency)
}
