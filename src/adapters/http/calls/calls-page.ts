import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import { goodDates } from '../../../domain/preparation/cycle/good-dates.ts'
import { badInput } from '../../../domain/failure.ts'
import { type FollowUp, FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up.ts'
import { namesDates } from '../../../domain/calls/words-to-say.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { closeFollowUp } from '../../../flows/calls/close-follow-up.ts'
import { orNotFound, protocolOf } from '../../../flows/lookups.ts'
import { settleMove } from '../../../flows/visits/move-visit.ts'
import { noteCallTry } from '../../../flows/calls/note-call-try.ts'
import { reopenFollowUp } from '../../../flows/calls/reopen-follow-up.ts'
import { html, type Html } from '../pages/html.ts'
import { callEntry, closedEntry, OUTCOMES, type Call } from './call-entry.ts'
import { field, type Answer, type Desk, type PageContext } from '../desk/page.ts'
import { URGENCY } from '../desk/words.ts'
import { grouped } from '../desk/grouped.ts'

const MOST_SHOWN = 60
const CLOSED_SHOWN = 12
const DAY_MS = 86_400_000
/** Dates looked for when the patient is called. */
const AHEAD = { first: 3, last: 42 }

export function mountCalls(desk: Desk): void {
  desk.get('calls', callList)
  desk.post('calls/:id/close', close)
  desk.post('calls/:id/reopen', reopen)
  desk.post('calls/:id/settle', settle)
}

/** What a person must do: most urgent and oldest first, with everything needed to call. */
async function callList(sheet: PageContext): Promise<Answer> {
  const { deps, clinic, now } = sheet
  const { followUps } = deps.store.read
  const open = await followUps.list({ clinicId: clinic.id, unplacedToo: true, open: true, limit: MOST_SHOWN })
  const closed = await followUps.recentlyClosed(clinic.id, new Date(now.getTime() - DAY_MS), CLOSED_SHOWN)
  const calls = await callsOf(sheet, [...open, ...closed])
  const byUrgency = grouped(calls.slice(0, open.length), ({ followUp }) => FOLLOW_UP_REASONS[followUp.reason].urgency)
  return {
    title: 'Call list',
    here: 'calls',
    rules: true,
    body: html`<p>Speak to the patient alone. On a voicemail, give only the clinic's name and number.</p>
<section id="calls" data-live hx-get="${sheet.at('calls')}" hx-trigger="news" hx-select="#calls" hx-swap="outerHTML" aria-label="Open follow-ups">
${open.length === 0 ? html`<p class="empty">Nobody needs a call.</p>` : [...byUrgency].map(([urgency, group]) => section(sheet, URGENCY[urgency], group))}
${sheet.calls > open.length && html`<p>${sheet.calls - open.length} more follow these.</p>`}
${closed.length > 0 && html`<h2>Closed in the last 24 hours</h2><ul class="closed">${calls.slice(open.length).map((call) => closedEntry(sheet, call))}</ul>`}
</section>`,
  }
}

function section(sheet: PageContext, title: string, calls: readonly Call[]): Html {
  return html`<h2>${title}</h2>${calls.map((call) => callEntry(sheet, call))}`
}

async function callsOf(sheet: PageContext, followUps: readonly FollowUp[]): Promise<Call[]> {
  const { read } = sheet.deps.store
  const ids = (pick: (each: FollowUp) => string | null) => [...new Set(followUps.map(pick).filter((id) => id !== null))]
  const patients = new Map((await read.patients.many(ids(({ patientId }) => patientId))).map((each) => [each.id, each]))
  const bookings = new Map((await read.bookings.many(ids(({ bookingId }) => bookingId))).map((each) => [each.id, each]))
  return followUps.map((followUp) => {
    const patient = (followUp.patientId !== null && patients.get(followUp.patientId)) || null
    const booking = (followUp.bookingId !== null && bookings.get(followUp.bookingId)) || null
    return { followUp, patient, booking, dates: patient && booking && namesDates(followUp.reason) ? datesFor(sheet, booking, patient) : [] }
  })
}

function datesFor({ deps, now }: PageContext, booking: Booking, { cycle }: Patient): Call['dates'] {
  const today = dateIn(now, booking.zone)
  return goodDates(cycle, { from: addDays(today, AHEAD.first), to: addDays(today, AHEAD.last) }, protocolOf(deps, booking.protocol), today).slice(0, 3)
}

async function close(sheet: PageContext): Promise<Answer> {
  const { deps, params } = sheet
  const chosen = field(sheet, 'outcome')
  if (chosen === 'no-answer') {
    await noteCallTry(deps, params.id!, sheet.who.name)
    return { to: sheet.at('calls?said=tried') }
  }
  const outcome = OUTCOMES[chosen] ?? field(sheet, 'words')
  if (outcome === '') badInput('words', 'Say what came of it.')
  await closeFollowUp(deps, params.id!, sheet.who.name, outcome.slice(0, 500))
  deps.notice('follow-up-closed', { followUp: params.id! })
  return { to: sheet.at('calls?said=closed') }
}

async function reopen(sheet: PageContext): Promise<Answer> {
  await reopenFollowUp(sheet.deps, sheet.params.id!, sheet.who.name)
  return { to: sheet.at('calls?said=reopened') }
}

/** Approves or declines a move that waits for the desk; the call is done with that. */
async function settle(sheet: PageContext): Promise<Answer> {
  const { deps, params } = sheet
  const followUp = orNotFound(await deps.store.read.followUps.get(params.id!), 'follow-up')
  const approve = field(sheet, 'approve') === 'yes'
  await settleMove(deps, String(followUp.detail.offer), approve, sheet.who.name)
  return { to: sheet.at(`calls?said=${approve ? 'approved' : 'declined'}`) }
}
