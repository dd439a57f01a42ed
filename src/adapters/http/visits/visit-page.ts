import * as z from 'zod'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up.ts'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Offer } from '../../../domain/visits/offer.ts'
import type { Slot } from '../../../domain/visits/slot.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import { weeksStrip } from '../../../domain/preparation/cycle/strip.ts'
import { badInput } from '../../../domain/failure.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { amendBooking, cancelBooking } from '../../../flows/visits/amend-booking.ts'
import { betterOpenings, judgeBooking } from '../../../flows/visits/judge-booking.ts'
import { orNotFound, protocolOf, loadVisit } from '../../../flows/lookups.ts'
import { html, type Html } from '../pages/html.ts'
import { mark } from '../desk/marks.ts'
import { messageList } from '../messages/message-list.ts'
import { field, type Answer, type Desk, type PageContext } from '../desk/page.ts'
import { windowList } from '../preparation/window-list.ts'
import { stripFigure } from '../preparation/cycle-strip.ts'
import { visitsOf, type Visit } from './visits-shown.ts'
import { preparation } from './visit-list.ts'
import { dateWords, dayAndClock, longDay, clock } from '../desk/when.ts'
import { lmpWords, phoneWords, spoken } from '../desk/words.ts'

export function mountVisit(desk: Desk): void {
  desk.get('visits/:id', visitPage)
  desk.post('visits/:id/move', move)
  desk.post('visits/:id/cancel', cancel)
  desk.post('visits/:id/period', newPeriod)
}

/** A visit of this clinic. @throws not-found for one of another clinic too */
async function load({ deps, clinic, params }: PageContext): Promise<{ booking: Booking; patient: Patient; clinic: Clinic }> {
  const booking = await deps.store.read.bookings.get(params.id!)
  return loadVisit(deps.store.read, orNotFound(booking?.clinicId === clinic.id ? booking : undefined, 'booking'))
}

async function visitPage(sheet: PageContext): Promise<Answer> {
  const { deps } = sheet
  const about = await load(sheet)
  const { booking, patient } = about
  const { read } = deps.store
  const [visit] = await visitsOf(deps, [booking])
  const openings = booking.state === 'booked' ? await betterOpenings(read, deps, about, true) : []
  const offer = await read.offers.pending(booking.id)
  const here = sheet.at(`visits/${booking.id}`)
  return {
    title: 'Visit',
    here: 'bookings',
    rules: true,
    body: html`<section id="visit" class="visit" data-live hx-get="${here}" hx-trigger="news" hx-select="#visit" hx-swap="outerHTML" aria-label="The visit">
${facts(sheet, visit!)}
${booking.state === 'booked' && timingOf(sheet, booking, patient)}
${offer && offerNote(offer, booking.zone)}
${booking.state === 'booked' && html`<div class="deeds">${moveForm(sheet, booking, openings)}${periodForm(sheet, booking, patient.cycle)}${cancelForm(sheet, booking)}</div>`}
<h2>Messages</h2>
${messageList(await read.messages.ofBooking(booking.id), booking.zone)}
<p><a href="${sheet.at(`replies/${patient.id}`)}">The whole conversation, and writing to the patient</a></p>
<h2>What happened</h2>
<ol class="trail">${(await read.events.ofBooking(booking.id)).map(({ at, what, by }) => html`<li><time datetime="${at.toISOString()}">${dayAndClock(at, booking.zone)}</time> ${spoken(what)}, by ${by}</li>\n`)}</ol>
</section>`,
  }
}

function facts(sheet: PageContext, visit: Visit): Html {
  const { booking, patient, protocol, open } = visit
  const cancelled = booking.state === 'cancelled'
  return html`<p class="headline"><b>${patient.name}</b> ${longDay(booking.visitAt, booking.zone)}, <b>${clock(booking.visitAt, booking.zone)}</b>${booking.clinician && `, ${booking.clinician}`}${cancelled && html` <span class="act">cancelled</span>`}</p>
${patient.reportedDead && html`<p class="note">Somebody wrote that the patient has died: nothing is sent. If that is not so, correct the meaning of that text in the <a href="${sheet.at(`replies/${patient.id}`)}">conversation</a>.</p>`}
<dl class="facts">
<div><dt>Telephone</dt><dd><a href="tel:${patient.phone}">${phoneWords(patient.phone)}</a></dd></div>
<div><dt>Specimen</dt><dd>${protocol.names.en}</dd></div>
<div><dt>Last period</dt><dd>${lmpOf(patient.cycle)}</dd></div>
<div><dt>Preparation</dt><dd>${preparation(visit)}</dd></div>
<div><dt>Confirmed</dt><dd>${booking.confirmedAt ? dayAndClock(booking.confirmedAt, booking.zone) : 'Not yet'}</dd></div>
${booking.lapses.length > 0 && html`<div><dt>Lapses, in the patient's words</dt><dd>${booking.lapses.map((words) => html`<q>${words}</q> `)}</dd></div>`}
${open.length > 0 && html`<div><dt>Open</dt><dd>${open.map(({ id, reason }) => html`<a href="${sheet.at(`calls#${id}`)}">${FOLLOW_UP_REASONS[reason].title}</a> `)}</dd></div>`}
</dl>`
}

function lmpOf(cycle: CycleHistory): string {
  const words = lmpWords(cycle)
  return /^\d/.test(words) ? `${dateWords(words, 'd LLLL yyyy')}${cycle.lmpGiveDays ? `, within ${cycle.lmpGiveDays} days` : ''}` : words
}

function timingOf(sheet: PageContext, booking: Booking, { cycle }: Patient): Html {
  const judgement = judgeBooking(sheet.deps, booking, cycle)
  const [visit, today] = [dateIn(booking.visitAt, booking.zone), dateIn(sheet.now, booking.zone)]
  const protocol = protocolOf(sheet.deps, booking.protocol)
  const plays = cycle.status !== 'no-periods' && protocol.avoidDays !== null
  return html`<p class="verdict ${judgement.forecast.rating}">${mark(judgement.forecast.rating)} ${judgement.reason}</p>
${windowList(sheet, booking.protocol, booking.zone, cycle)}
${plays && stripFigure({ strip: weeksStrip(cycle, visit, protocol, today), visit, today })}`
}

function offerNote({ choices, until, state }: Offer, zone: string): Html {
  const times = choices.map(({ at }) => dayAndClock(at, zone)).join('; ')
  return html`<p class="note">${state === 'open' ? 'On offer to the patient' : 'Chosen, waiting for approval'}: ${times}. Held until ${dayAndClock(until, zone)}.</p>`
}

/** Choosing opens the question; the second press moves the visit and tells the patient. */
function moveForm(sheet: PageContext, { id, zone }: Booking, openings: readonly Slot[]): Html {
  const times = openings.map(
    ({ startsAt, clinician }, index) => html`<label class="plain"><input type="radio" name="to" value="${startsAt.toISOString()}|${clinician}"${index === 0 && html` checked`}>${dayAndClock(startsAt, zone)}${clinician && `, ${clinician}`}</label>`,
  )
  return html`<details><summary>Move the visit</summary>
<form method="post" action="${sheet.at(`visits/${id}/move`)}">
${times.length > 0 ? html`<fieldset><legend>Openings at a good time</legend>${times}</fieldset>` : html`<p>No opening fits. Give a time, or add openings.</p>`}
<div class="field"><label for="other">Or another time</label><input id="other" name="other" type="datetime-local"><small>${zone}</small></div>
<p>The patient is told the new time, and how to prepare for it.</p><button class="main">Move and tell the patient</button></form></details>`
}

function periodForm(sheet: PageContext, { id }: Booking, { lmp }: CycleHistory): Html {
  return html`<details><summary>Correct the last period</summary>
<form method="post" action="${sheet.at(`visits/${id}/period`)}">
<div class="field"><label for="new-lmp">First day of the last period</label><input id="new-lmp" name="lmp" type="date" value="${lmp ?? ''}" required></div>
<p>The timing is judged anew, and the patient's messages are planned anew.</p><button class="main">Keep this date</button></form></details>`
}

function cancelForm(sheet: PageContext, { id }: Booking): Html {
  return html`<details><summary>Cancel the visit</summary>
<form method="post" action="${sheet.at(`visits/${id}/cancel`)}"><p>Its time becomes free and nothing more is sent about it. This cannot be undone.</p><button>Cancel the visit</button></form></details>`
}

async function move(sheet: PageContext): Promise<Answer> {
  const { booking } = await load(sheet)
  const other = field(sheet, 'other')
  const [instant = '', clinician = ''] = field(sheet, 'to').split('|')
  if (other === '' && !z.iso.datetime().safeParse(instant).success) badInput('to', 'Choose an opening, or give a time.')
  await amendBooking(sheet.deps, booking.id, other === '' ? { visit: instant, clinician, by: sheet.who.name } : { visit: other, by: sheet.who.name })
  return { to: sheet.at(`visits/${booking.id}?said=moved`) }
}

async function cancel(sheet: PageContext): Promise<Answer> {
  const { booking } = await load(sheet)
  await cancelBooking(sheet.deps, booking.id, sheet.who.name)
  return { to: sheet.at(`visits/${booking.id}?said=cancelled`) }
}

async function newPeriod(sheet: PageContext): Promise<Answer> {
  const { booking, patient } = await load(sheet)
  const lmp = field(sheet, 'lmp')
  if (!z.iso.date().safeParse(lmp).success) badInput('lmp', 'Give the first day of the last period.')
  await amendBooking(sheet.deps, booking.id, { cycle: corrected(patient.cycle, lmp, dateIn(sheet.now, booking.zone)), by: sheet.who.name })
  return { to: sheet.at(`visits/${booking.id}?said=amended`) }
}

/** A corrected first day replaces the old one; what the patient said about the cycle that never was goes with it. */
function corrected(cycle: CycleHistory, lmp: string, today: string): CycleHistory {
  const next: CycleHistory = { ...cycle, status: 'cycling', lmp, toldOn: today }
  for (const field of ['lmpGiveDays', 'startedOn', 'notStartedBy', 'endedOn', 'stillBleedingOn'] as const) delete next[field]
  return next
}
