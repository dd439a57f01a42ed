import { FAILURES, type Failure } from '../../../domain/failure.ts'
import type { VisitEvent } from '../../../flows/ports/deps.ts'
import { changedSince, versionOf } from '../../../flows/visits/refuse-changed.ts'
import type { VisitJudgement } from '../../../domain/preparation/cycle/judge.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Offer } from '../../../domain/visits/offer.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import { hasCycles } from '../../../domain/preparation/cycle/no-cycle.ts'
import { weeksStrip } from '../../../domain/preparation/cycle/strip.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { judgeAmong, openingsWithinReach } from '../../../flows/visits/judge-booking.ts'
import { protocolOf } from '../../../flows/lookups.ts'
import { html, type Html } from '../pages/html.ts'
import { mark } from '../desk/marks.ts'
import { outcomeWords } from '../../../domain/visits/outcome.ts'
import { isOver } from '../../../domain/visits/over.ts'
import { PURPOSES } from '../../../domain/visits/purpose.ts'
import { messageList } from '../messages/message-list.ts'
import { field, type Desk } from '../desk/page.ts'
import type { PageContent, PageContext } from '../desk/page-context.ts'
import { deferralList } from '../preparation/deferral-list.ts'
import { doubtList } from '../preparation/doubt-list.ts'
import { windowList } from '../preparation/window-list.ts'
import { stripFigure } from '../preparation/cycle-strip.ts'
import { cancelForm, mountDeeds, moveForm, periodForm, purposeForm, seenOf, visitHere } from './visit-deeds.ts'
import { lineNote, telephone } from '../patients/line-note.ts'
import { mountPageButton, pagePart } from './page-button.ts'
import { mountReach, reachForm } from './reach-form.ts'
import { visitsOf, type Visit } from './visits-shown.ts'
import { preparation } from './visit-list.ts'
import { dateWords, longDay } from '../desk/when.ts'
import { lmpWords, spoken, secondWords } from '../desk/words.ts'

export function mountVisit(desk: Desk): void {
  desk.get('visits/:id', (sheet) => visitPage(sheet))
  mountDeeds(desk, visitPage)
  mountReach(desk, visitPage)
  mountPageButton(desk, visitPage)
}

async function visitPage(sheet: PageContext, trouble?: Failure): Promise<PageContent> {
  const { deps } = sheet
  const about = await visitHere(sheet)
  const { booking, patient } = about
  const { read } = deps.store
  const [visit] = await visitsOf(deps, [booking])
  const isBooked = booking.state === 'booked'
  const isKnown = deps.protocols.has(booking.protocol)
  const mayChange = isBooked && !isOver(booking, sheet.now)
  const among = mayChange ? await openingsWithinReach(read, deps, about, true) : []
  const { openings } = judgeAmong(deps, about, among, { mustMove: true })
  const offer = await read.offers.pending(booking.id)
  const here = sheet.at(`visits/${booking.id}`)
  const events = await read.events.ofBooking(booking.id)
  // Each form says which state of the visit it was shown with.
  const form = { ...sheet, at: (path: string) => sheet.at(`${path}?seen=${versionOf(events)}`) }
  return {
    title: 'Visit',
    here: 'bookings',
    rules: true,
    body: html`<section id="visit" class="visit" data-live hx-get="${here}" hx-trigger="news" hx-select="#visit"
      hx-swap="outerHTML" aria-label="The visit">
${trouble && troubleNote(sheet, booking, trouble, changedSince(events, seenOf(sheet) ?? 0))}
${facts(sheet, visit!)}
${isBooked && isKnown && timingOf(sheet, booking, patient, judgeAmong(deps, about, among).judgement)}
${isBooked && deferralList(visit!.protocol, booking)}
${offer && offerNote(sheet, offer, booking.zone)}
${isBooked && !mayChange && pastNote(sheet, booking)}
${
  mayChange &&
  html`<div
  class="deeds">${moveForm(form, booking, openings)}${periodForm(form, booking, patient.cycle)}${purposeForm(form, booking)}${reachForm(form, booking, patient)}${cancelForm(form, booking)}</div>`
}
${isBooked ? pagePart(sheet, about) : html`<p><a href="${sheet.at('book')}">Book another visit</a></p>`}
<h2>Messages</h2>
${messageList(sheet, await read.messages.ofBooking(booking.id), booking.zone)}
<p><a href="${sheet.at(`replies/${patient.id}`)}">The whole conversation, and writing to the patient</a></p>
<h2>What happened</h2>
<ol class="trail">${events.map(
      ({ at, what, by }) => html`<li><time
  datetime="${at.toISOString()}">${sheet.dayAndClock(at, booking.zone)}</time> ${spoken(what)}, by ${by}</li>\n`,
    )}</ol>
</section>`,
  }
}

/** What was refused, and why; where somebody else was quicker, who, when, and what it is now. */
function troubleNote(
  sheet: PageContext,
  { visitAt, zone }: Booking,
  { code, detail }: Failure,
  since: VisitEvent[],
): Html {
  const wanted = field(sheet, 'other')
  return html`<div class="faults" role="alert"><b>${FAILURES[code].title}. Nothing of yours was done.</b><p>${detail.message}</p>
${
  code === 'changed' &&
  html`<ul>${since.map(({ at, what, by }) => html`<li>${spoken(what)}, by ${by}, at ${sheet.dayAndClock(at, zone)}</li>`)}
<li>The visit is on ${sheet.dayAndClock(visitAt, zone)} now.${wanted !== '' && ` You had asked for ${wanted.replace('T', ' ')}.`}</li></ul>`
}</div>`
}

/** What can still be done about a visit that is over. */
function pastNote(sheet: PageContext, { visitAt, zone, clinician }: Booking): Html {
  const day = sheet.at(`day-sheet?date=${dateIn(visitAt, zone)}&clinician=${encodeURIComponent(clinician)}`)
  return html`<p class="note">The day of this visit has passed: it is changed no more. How it ended is recorded on the
<a href="${day}">day sheet</a>; what is to be corrected about the patient, on the next visit.</p>`
}

function facts(sheet: PageContext, visit: Visit): Html {
  const { booking, patient, protocol, open } = visit
  const cancelled = booking.state === 'cancelled'
  return html`<p class="headline"><b>${patient.name}</b>${secondWords(patient) && `, ${secondWords(patient)},`} ${longDay(booking.visitAt, booking.zone)}, <b>${sheet.clock(booking.visitAt, booking.zone)}</b>, ${booking.minutes} minutes${booking.clinician && `, ${booking.clinician}`}${cancelled && html` <span class="act">cancelled</span>`}</p>
${
  patient.reportedDead &&
  html`<p
  class="note">Somebody wrote that the patient has died: nothing is sent. If that is not so, correct the meaning of that text in the <a href="${sheet.at(`replies/${patient.id}`)}">conversation</a>.</p>`
}
<dl class="facts">
<div><dt>Telephone</dt><dd>${telephone(patient.phone, patient)}${lineNote(patient)}</dd></div>
<div><dt>Specimen</dt><dd>${protocol.names.en}</dd></div>
<div><dt>Purpose</dt><dd>${PURPOSES[booking.purpose].label}${booking.dueBy && `, due by ${dateWords(booking.dueBy, 'd LLLL yyyy')}`}</dd></div>
<div><dt>Last period</dt><dd>${lmpOf(patient.cycle)}</dd></div>
${!cancelled && html`<div><dt>Preparation</dt><dd>${preparation(visit)}</dd></div>`}
${
  booking.outcome &&
  html`<div><dt>Ended</dt><dd>${outcomeWords(booking.outcome)}, by ${booking.outcome.by}</dd></div>
`
}<div><dt>Confirmed</dt><dd>${booking.confirmedAt ? sheet.dayAndClock(booking.confirmedAt, booking.zone) : 'Not yet'}</dd></div>
${booking.needs.length > 0 && html`<div><dt>Needs, in the patient's words</dt><dd>${booking.needs.map((words) => html`<q>${words}</q> `)}</dd></div>`}
${booking.lapses.length > 0 && html`<div><dt>Lapses, in the patient's words</dt><dd>${booking.lapses.map((words) => html`<q>${words}</q> `)}</dd></div>`}
${
  open.length > 0 &&
  html`<div><dt>Open</dt><dd>${open.map(
    ({ id, reason }) => html`<a
  href="${sheet.at(`calls#${id}`)}">${FOLLOW_UP_REASONS[reason].title}</a> `,
  )}</dd></div>`
}
</dl>`
}

function lmpOf(cycle: CycleHistory): string {
  const words = lmpWords(cycle)
  return /^\d/.test(words)
    ? `${dateWords(words, 'd LLLL yyyy')}${cycle.lmpGiveDays ? `, within ${cycle.lmpGiveDays} days` : ''}`
    : words
}

function timingOf(sheet: PageContext, booking: Booking, { cycle }: Patient, judgement: VisitJudgement): Html {
  const [visit, today] = [dateIn(booking.visitAt, booking.zone), dateIn(sheet.now, booking.zone)]
  const protocol = protocolOf(sheet.deps, booking.protocol)
  const plays = hasCycles(cycle) && protocol.avoidDays !== null
  return html`<p class="verdict ${judgement.forecast.rating}">${mark(judgement.forecast.rating)} ${judgement.reason}</p>
${doubtList(sheet, booking.zone, cycle)}
${windowList(sheet, booking.protocol, booking.zone, cycle)}
${plays && stripFigure({ strip: weeksStrip(cycle, visit, protocol, today), visit, today })}`
}

function offerNote(sheet: PageContext, { choices, until, state }: Offer, zone: string): Html {
  const times = choices.map(({ at }) => sheet.dayAndClock(at, zone)).join('; ')
  return html`<p class="note">${state === 'open' ? 'On offer to the patient' : 'Chosen, waiting for approval'}: ${times}. Held until ${sheet.dayAndClock(until, zone)}.</p>`
}
