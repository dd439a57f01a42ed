import { DateTime } from 'luxon'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { FOLLOW_UP_REASONS, type FollowUp } from '../../../domain/calls/follow-up.ts'
import { wordsToSay } from '../../../domain/calls/words-to-say.ts'
import { html, type Html } from '../pages/html.ts'
import type { PageContext } from '../desk/page.ts'
import { age, clock, dateWords, dayAndClock, longDay } from '../desk/when.ts'
import { phoneWords } from '../desk/words.ts'

/** A follow-up with whom and what it is about. */
export interface Call {
  followUp: FollowUp
  patient: Patient | null
  booking: Booking | null
  /** Runs of good dates, where the visit should move. */
  dates: { from: string; to: string }[]
}

/** Outcomes by code: one press each. */
export const OUTCOMES: Record<string, string> = {
  told: 'Called and told',
  moved: 'Called, another time agreed',
  kept: 'Called, the visit stays',
  'not-needed': 'No call needed',
}

export function callEntry(sheet: PageContext, call: Call): Html {
  const { followUp, patient, booking } = call
  const { reason, openedAt, id, phone } = followUp
  const { urgency, title, todo } = FOLLOW_UP_REASONS[reason]
  return html`<article class="call u${urgency}" id="${id}" aria-labelledby="${id}-h">
<div class="margin"><b>${age(openedAt, sheet.now)}</b><small>since ${clock(openedAt, sheet.clinic.zone)}</small></div>
<div class="what"><h3 id="${id}-h">${title}: ${patient ? patient.name : 'not one of our patients'}</h3>
<p>${todo}</p>
${herWords(followUp)}
${toSay(call)}
${tries(followUp, sheet.clinic.zone)}</div>
<div class="reach">${phone && html`<a class="tel" href="tel:${phone}">${phoneWords(phone)}</a>`}${booking && html`<a href="${sheet.at(`visits/${booking.id}`)}">Visit ${dayAndClock(booking.visitAt, booking.zone)}</a>`}${patient && html`<a href="${sheet.at(`replies/${patient.id}`)}">Conversation</a>`}
${reason === 'approve-move' ? settleForm(sheet, followUp) : outcomeForm(sheet, id)}</div>
</article>
`
}

function herWords({ detail }: FollowUp): Html | null {
  const words = typeof detail.words === 'string' ? html`<p>The patient wrote: <q>${detail.words}</q></p>` : null
  return typeof detail.why === 'string' ? html`${words}<p>${detail.why}</p>` : words
}

function toSay({ followUp, booking, dates }: Call): Html | null {
  const visit = booking ? `on ${longDay(booking.visitAt, booking.zone)} at ${clock(booking.visitAt, booking.zone)}` : ''
  const words = wordsToSay(followUp.reason, { visit, dates: dates.length > 0 ? dates.map(range).join('; ') : 'another day' })
  return words === null ? null : html`<p class="say"><span>To say:</span> ${words}</p>`
}

function range({ from, to }: { from: string; to: string }): string {
  return from === to ? dateWords(from) : `${dateWords(from)} to ${dateWords(to)}`
}

function tries({ detail }: FollowUp, zone: string): Html | null {
  const all = Array.isArray(detail.tries) ? (detail.tries as string[]) : []
  const last = all.at(-1)
  if (last === undefined) return null
  const times = all.length === 1 ? 'once' : `${all.length} times`
  return html`<p>Called ${times} without an answer, last ${dayAndClock(DateTime.fromISO(last, { zone: 'utc' }).toJSDate(), zone)}.</p>`
}

/** The first press opens, the second records. */
function outcomeForm(sheet: PageContext, id: string): Html {
  return html`<details><summary id="${id}-o">Outcome</summary><form method="post" action="${sheet.at(`calls/${id}/close`)}">
${Object.entries(OUTCOMES).map(([code, words]) => html`<button name="outcome" value="${code}">${words}</button>`)}<button name="outcome" value="no-answer">No answer: keep on the list</button>
<label for="${id}-w">Something else</label><input id="${id}-w" name="words" maxlength="500" autocomplete="off"><button name="outcome" value="">Record</button></form></details>`
}

function settleForm(sheet: PageContext, { id, detail }: FollowUp): Html {
  const to = typeof detail.to === 'string' ? DateTime.fromISO(detail.to, { zone: 'utc' }).toJSDate() : null
  return html`<details><summary id="${id}-o">Approve or decline</summary><form method="post" action="${sheet.at(`calls/${id}/settle`)}">
<p>${to && `The patient chose ${dayAndClock(to, sheet.clinic.zone)}. `}Either way the patient is told by text.</p><button class="main" name="approve" value="yes">Move the visit</button><button name="approve" value="no">Decline</button></form></details>`
}

export function closedEntry(sheet: PageContext, { followUp, patient }: Call): Html {
  const { id, reason, closedAt, closedBy, outcome } = followUp
  const { title } = FOLLOW_UP_REASONS[reason]
  return html`<li><span>${clock(closedAt!, sheet.clinic.zone)} ${title}${patient && `: ${patient.name}`}. ${outcome}, by ${closedBy}.</span> <form method="post" action="${sheet.at(`calls/${id}/reopen`)}"><button aria-label="Undo: ${title}${patient && `, ${patient.name}`}">Undo</button></form></li>
`
}
