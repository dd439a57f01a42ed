import * as z from 'zod'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import { FAILURES, Failure, badInput } from '../../../domain/failure.ts'
import { dateIn, toInstant } from '../../../domain/local-time.ts'
import { amendBooking, cancelBooking } from '../../../flows/visits/amend-booking.ts'
import type { JudgedVisit } from '../../../flows/visits/judge-booking.ts'
import { judgeTiming } from '../../../flows/visits/tell-timing.ts'
import type { VisitContext } from '../../../flows/visit-context.ts'
import { orNotFound, loadVisit } from '../../../flows/lookups.ts'
import { html, type Html } from '../pages/html.ts'
import { worthMark } from '../desk/marks.ts'
import { LONGEST_MINUTES, SHORTEST_MINUTES } from '../../../domain/visits/duration.ts'
import { PURPOSE_NAMES } from '../../../domain/visits/purpose.ts'
import { PURPOSE_CHOICES } from './book-form.ts'
import { chosenHistory, CYCLE_CHOICES } from './cycle-choices.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContent, PageContext } from '../desk/page-context.ts'

/** What the desk does with a visit. */
export function mountDeeds(desk: Desk, page: VisitPage): void {
  desk.post('visits/:id/move', orShownAgain(move, page))
  desk.post('visits/:id/cancel', orShownAgain(cancel, page))
  desk.post('visits/:id/period', orShownAgain(newPeriod, page))
  desk.post('visits/:id/purpose', orShownAgain(newPurpose, page))
}

/** The page of the visit, with what was wrong. */
export type VisitPage = (sheet: PageContext, trouble?: Failure) => Promise<PageContent>

/** What is refused is said on the page on which it was asked for, and what was typed stays. */
export const orShownAgain =
  (deed: (sheet: PageContext) => Promise<Answer>, page: VisitPage) =>
  async (sheet: PageContext): Promise<Answer> => {
    try {
      return await deed(sheet)
    } catch (error) {
      if (!(error instanceof Failure) || error.code === 'not-found') throw error
      return { status: FAILURES[error.code].status, page: await page(sheet, error) }
    }
  }

/** Which state of the visit the form was shown with. */
export function seenOf({ query }: PageContext): number | undefined {
  return /^\d{1,4}$/.test(query.seen ?? '') ? Number(query.seen) : undefined
}

/** A visit of this clinic. @throws not-found for one of another clinic too */
export async function visitHere({
  deps,
  clinic,
  params,
}: PageContext): Promise<{ booking: Booking; patient: Patient; clinic: Clinic }> {
  const booking = await deps.store.read.bookings.get(params.id!)
  return loadVisit(deps.store.read, orNotFound(booking?.clinicId === clinic.id ? booking : undefined, 'booking'))
}

/** Choosing opens the question; the second press moves the visit and tells the patient. */
export function moveForm(sheet: PageContext, { id, zone, minutes }: Booking, openings: JudgedVisit['openings']): Html {
  const times = openings.map(
    ({ opening: { startsAt, clinician }, ...worth }) =>
      html`<label class="plain"><input type="radio" name="to"
        value="${startsAt.toISOString()}|${clinician}"${worth.rank === 1 && html` checked`}>${sheet.dayAndClock(startsAt, zone)}${clinician && `, ${clinician}`}${worthMark(worth)}</label>`,
  )
  const typed = sheet.form.other === undefined ? '' : field(sheet, 'other')
  return html`<details${typed !== '' && html` open`}><summary>Move the visit</summary>
<form method="post" action="${sheet.at(`visits/${id}/move`)}">
${times.length > 0 ? html`<fieldset><legend>Openings at a good time</legend>${times}</fieldset>` : html`<p>No opening fits. Give a time, or add openings.</p>`}
<div class="field"><label for="other">Or another time</label><input id="other" name="other"
  type="datetime-local" value="${typed}"><small>${zone}</small></div>
<div class="field"><label for="lasting">Minutes</label><input id="lasting" name="minutes" type="number"
  min="${SHORTEST_MINUTES}" max="${LONGEST_MINUTES}" value="${minutes}"></div>
${
  typed !== '' &&
  html`<label class="plain"><input type="checkbox" name="despite" value="${typed}">Move it to that time all the same</label>`
}
<label class="plain"><input type="checkbox" name="overbook" value="yes">Overbook, where the clinician is busy
  with another patient then</label>
<p>The patient is told the new time, and how to prepare for it.</p><button
  class="main">Move and tell the patient</button></form></details>`
}

export function periodForm(sheet: PageContext, { id }: Booking, { lmp }: CycleHistory): Html {
  return html`<details><summary>Correct the last period</summary>
<form method="post" action="${sheet.at(`visits/${id}/period`)}">
<div class="field"><label for="new-lmp">First day of the last period</label><input id="new-lmp" name="lmp" type="date"
  value="${lmp ?? ''}"></div>
<div class="field"><label for="instead">Or instead</label><select id="instead" name="instead"><option
  value="">The date above</option>${CYCLE_CHOICES.map(([value, words]) => html`<option value="${value}">${words}</option>`)}</select></div>
<p>The timing is judged anew, and the patient's messages are planned anew.</p><button
  class="main">Keep this</button></form></details>`
}

export function purposeForm(sheet: PageContext, { id, purpose, dueBy }: Booking): Html {
  return html`<details><summary>Correct the purpose</summary>
<form method="post" action="${sheet.at(`visits/${id}/purpose`)}">
<div class="field"><label for="purpose">Purpose</label><select id="purpose" name="purpose">${PURPOSE_CHOICES.map(
    ([value, words]) => html`<option value="${value}"${value === purpose && html` selected`}>${words}</option>`,
  )}</select></div>
<div class="field"><label for="due">Due by</label><input id="due" name="due" type="date" value="${dueBy ?? ''}"></div>
<p>Anything but routine, or due, is not put off for a better day.</p><button
  class="main">Keep this</button></form></details>`
}

async function newPurpose(sheet: PageContext): Promise<Answer> {
  const { booking } = await visitHere(sheet)
  const due = field(sheet, 'due')
  const purpose = PURPOSE_NAMES.find((name) => name === field(sheet, 'purpose'))
  if (!purpose) badInput('purpose', 'Choose why the patient comes.')
  if (due !== '' && !z.iso.date().safeParse(due).success) badInput('due', 'Give the day, or leave it empty.')
  const dueBy = due === '' ? null : due
  await amendBooking(sheet.deps, booking.id, { purpose, dueBy, seen: seenOf(sheet), by: sheet.who.name })
  return { to: sheet.at(`visits/${booking.id}?said=amended`) }
}

export function cancelForm(sheet: PageContext, { id }: Booking): Html {
  return html`<details><summary>Cancel the visit</summary>
<form method="post" action="${sheet.at(`visits/${id}/cancel`)}"><p>Its time becomes free. The patient is told, if the patient agreed to messages.</p><button>Cancel the visit</button></form></details>`
}

/** A time of the desk's own is judged as a booking is: once it has been said, the desk decides. @throws bad-input */
function refuseBadTime(
  { deps, now }: PageContext,
  { booking, patient }: Pick<VisitContext, 'booking' | 'patient'>,
  typed: string,
): void {
  const visitAt = toInstant(typed, booking.zone, 'other')
  // What is over, or would be, is refused for that.
  if (booking.state !== 'booked' || booking.visitAt <= now || visitAt <= now) return
  const { worthACall, forecast } = judgeTiming(deps, { booking: { ...booking, visitAt }, patient })
  if (!worthACall) return
  const chances = Math.round(100 * forecast.avoidProbability)
  badInput(
    'other',
    `That time is badly timed: ${chances} in 100 for a day to avoid. Choose another, or move it all the same.`,
  )
}

async function move(sheet: PageContext): Promise<Answer> {
  const { booking, patient } = await visitHere(sheet)
  const other = field(sheet, 'other')
  const [instant = '', clinician = ''] = field(sheet, 'to').split('|')
  if (other === '' && !z.iso.datetime().safeParse(instant).success) badInput('to', 'Choose an opening, or give a time.')
  const time = other === '' ? { visit: instant, clinician } : { visit: other }
  if (other !== '' && field(sheet, 'despite') !== other) refuseBadTime(sheet, { booking, patient }, other)
  await amendBooking(sheet.deps, booking.id, {
    ...time,
    minutes: lasting(sheet),
    seen: seenOf(sheet),
    overbook: field(sheet, 'overbook') === 'yes',
    by: sheet.who.name,
  })
  return { to: sheet.at(`visits/${booking.id}?said=moved`) }
}

/** The length given; undefined = as it was. @throws bad-input */
function lasting(sheet: PageContext): number | undefined {
  const typed = field(sheet, 'minutes')
  if (typed === '') return undefined
  const told = z.coerce.number().int().min(SHORTEST_MINUTES).max(LONGEST_MINUTES).safeParse(typed)
  return told.success ? told.data : badInput('minutes', `Give ${SHORTEST_MINUTES} to ${LONGEST_MINUTES} minutes.`)
}

async function cancel(sheet: PageContext): Promise<Answer> {
  const { booking } = await visitHere(sheet)
  await cancelBooking(sheet.deps, booking.id, sheet.who.name, seenOf(sheet))
  return { to: sheet.at(`visits/${booking.id}?said=cancelled`) }
}

async function newPeriod(sheet: PageContext): Promise<Answer> {
  const { booking, patient } = await visitHere(sheet)
  const lmp = field(sheet, 'lmp')
  const instead = chosenHistory(field(sheet, 'instead'))
  if (!instead && !z.iso.date().safeParse(lmp).success)
    badInput('lmp', 'Give the first day of the last period, or choose what holds instead.')
  const cycle = instead
    ? correctedTo(patient.cycle, instead)
    : corrected(patient.cycle, lmp, dateIn(sheet.now, booking.zone))
  await amendBooking(sheet.deps, booking.id, { cycle, seen: seenOf(sheet), by: sheet.who.name })
  return { to: sheet.at(`visits/${booking.id}?said=amended`) }
}

/** A corrected first day replaces the old one; what the patient said about the cycle that never was goes with it. */
function corrected(cycle: CycleHistory, lmp: string, today: string): CycleHistory {
  return { ...withoutThisCycle(cycle), status: 'cycling', lmp, toldOn: today }
}

/** What was told of earlier cycles is kept: they may return. */
function correctedTo(cycle: CycleHistory, instead: CycleHistory): CycleHistory {
  return { ...withoutThisCycle(cycle), ...instead }
}

const OF_THIS_CYCLE = [
  'lmp',
  'toldOn',
  'because',
  'lmpGiveDays',
  'startedOn',
  'notStartedBy',
  'endedOn',
  'stillBleedingOn',
] as const

function withoutThisCycle(cycle: CycleHistory): CycleHistory {
  const rest = { ...cycle }
  for (const field of OF_THIS_CYCLE) delete rest[field]
  return rest
}
