import { DateTime } from 'luxon'
import type { Booking } from '../../../domain/visits/booking.ts'
import { CALL_ENDINGS, endingsOf, leadsTo, type LeadsTo } from '../../../domain/calls/call-endings.ts'
import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import { asReached, whatToDo, withEmergency, wordsToSay } from '../../../domain/calls/words-to-say.ts'
import { isOver } from '../../../domain/visits/over.ts'
import { html, type Html } from '../pages/html.ts'
import type { PageContext } from '../desk/page-context.ts'
import { age, dateWords, longDay } from '../desk/when.ts'
import { lineNote, telephone } from '../patients/line-note.ts'
import { nobodyOfOurs, phoneWords, secondWords } from '../desk/words.ts'
import type { Call, Card } from './call-data.ts'

const TOO_LATE_TO_MOVE =
  'The patient chose another time, but the day of the visit has passed. Record how it ended, and agree on another visit.'

/** Everything that one patient is called about. */
export function cardEntry(sheet: PageContext, card: Card): Html {
  const [{ followUp, patient }] = card
  const oldest = card.map((call) => call.followUp.openedAt).reduce((a, b) => (a < b ? a : b))
  const { id, reason, phone } = followUp
  const who = patient ? patient.name : `${nobodyOfOurs(followUp)}${phone === null ? '' : `, ${phoneWords(phone)}`}`
  return html`<article class="call u${FOLLOW_UP_REASONS[reason].urgency}" aria-labelledby="${id}-h">
<div class="margin"><b>${age(oldest, sheet.now)}</b><small>since ${sheet.clock(oldest, sheet.clinic.zone)}</small></div>
<div class="what"><h3 id="${id}-h">${who}${patient && secondWords(patient) && html` <small>${secondWords(patient)}</small>`}</h3>
${patient && lineNote(patient)}
${card.map((call) => reasonPart(sheet, call, who))}</div>
<div class="reach">${phone && telephone(phone, patient)}${patient && html`<a href="${sheet.at(`replies/${patient.id}`)}">Conversation</a>`}
${
  (patient || phone !== null) &&
  html`<form method="post" action="${sheet.at(`calls/${id}/close`)}"><button name="outcome" value="no-answer"
  aria-label="No answer: keep ${who} on the list">No answer: keep</button></form>`
}
${tries(sheet, card)}</div>
</article>
`
}

/** One of the reasons on a card, with what usually comes of it. */
function reasonPart(sheet: PageContext, call: Call, who: string): Html {
  const { followUp, patient, booking } = call
  const { id, reason } = followUp
  const { title } = FOLLOW_UP_REASONS[reason]
  const isMove = reason === 'approve-move' || reason === 'enter-move'
  const mayMove = isMove && !(booking && isOver(booking, sheet.now))
  return html`<section class="reason" id="${id}" aria-label="${title}: ${who}">
<h4>${title}${booking && html` <a href="${sheet.at(`visits/${booking.id}`)}">Visit ${sheet.dayAndClock(booking.visitAt, booking.zone)}</a>`}</h4>
<p>${isMove && !mayMove ? TOO_LATE_TO_MOVE : whatToDo(reason, patient)}</p>
${herWords(followUp)}
${toSay(sheet, call)}
${mayMove ? settleForm(sheet, followUp) : endings(sheet, call)}</section>
`
}

function herWords({ detail }: FollowUp): Html | null {
  const words = typeof detail.words === 'string' ? html`<p>The patient wrote: <q>${detail.words}</q></p>` : null
  return typeof detail.why === 'string' ? html`${words}<p>${detail.why}</p>` : words
}

function toSay(sheet: PageContext, { followUp, patient, booking, dates }: Call): Html | null {
  const visit = booking
    ? `on ${longDay(booking.visitAt, booking.zone)} at ${sheet.clock(booking.visitAt, booking.zone)}`
    : ''
  const words = wordsToSay(followUp.reason, {
    visit,
    dates: dates.length > 0 ? dates.map(range).join('; ') : 'another day',
  })
  if (words === null) return null
  const said = withEmergency(asReached(words, patient), sheet.clinic.settings.emergency)
  return html`<p class="say"><span>To say:</span> ${said}</p>`
}

function range({ from, to }: { from: string; to: string }): string {
  return from === to ? dateWords(from) : `${dateWords(from)} to ${dateWords(to)}`
}

/** How often somebody tried to reach the patient: one try counts for each call of the card, so the longest has all. */
function tries(sheet: PageContext, card: Card): Html | null {
  const each = card.map(({ followUp: { detail } }) => (Array.isArray(detail.tries) ? (detail.tries as string[]) : []))
  const all = each.reduce((a, b) => (a.length >= b.length ? a : b))
  const last = all.at(-1)
  if (last === undefined) return null
  const times = all.length === 1 ? 'once' : `${all.length} times`
  return html`<p>Called ${times} without an answer, last ${sheet.dayAndClock(DateTime.fromISO(last, { zone: 'utc' }).toJSDate(), sheet.clinic.zone)}.</p>`
}

/** The first field of each form on the visit's page: a browser opens what is folded around it. */
const FIELD_OF: Record<LeadsTo, string> = { move: 'other', reach: 'reach', period: 'new-lmp' }

/** One press each; "Undo" follows, so nothing is asked twice. */
function endings(sheet: PageContext, { followUp: { id, reason }, booking }: Call): Html {
  const changeable = booking?.state === 'booked' && !isOver(booking, sheet.now) ? booking : null
  return html`<form class="ends" method="post" action="${sheet.at(`calls/${id}/close`)}">
${endingsOf(reason).map((name) => {
  const form = leadsTo(name)
  const { words } = CALL_ENDINGS[name]
  return form === undefined
    ? html`<button name="outcome" value="${name}">${words}</button>\n`
    : changeable && html`<a class="button" href="${formOf(sheet, changeable, form)}">${words}</a>\n`
})}<button class="quiet" name="outcome" value="not-needed">${CALL_ENDINGS['not-needed'].words}</button></form>
<details><summary>Something else</summary><form method="post" action="${sheet.at(`calls/${id}/close`)}">
<label for="${id}-w">What came of it</label><input id="${id}-w" name="words" maxlength="500"
  autocomplete="off"><button name="outcome" value="">Record</button></form></details>`
}

const formOf = (sheet: PageContext, { id }: Booking, form: LeadsTo) => `${sheet.at(`visits/${id}`)}#${FIELD_OF[form]}`

function settleForm(sheet: PageContext, { id, detail, reason }: FollowUp): Html {
  const to = typeof detail.to === 'string' ? DateTime.fromISO(detail.to, { zone: 'utc' }).toJSDate() : null
  return html`<p>${to && `The patient chose ${sheet.dayAndClock(to, sheet.clinic.zone)}. `}Either way the patient is told by text.</p>
<form class="ends" method="post" action="${sheet.at(`calls/${id}/settle`)}">${
    reason === 'approve-move' && html`<button class="main" name="approve" value="yes">Move the visit</button> `
  }<button name="approve" value="no">Decline</button></form>`
}

/** What the desk only has to see, in a line. */
export function knownEntry(sheet: PageContext, { followUp, patient, booking }: Call): Html {
  const { id, reason } = followUp
  const { title } = FOLLOW_UP_REASONS[reason]
  const name = patient?.name ?? nobodyOfOurs(followUp)
  return html`<li id="${id}"><span><b>${title}: ${name}</b>${
    booking &&
    html`, <a
  href="${sheet.at(`visits/${booking.id}`)}">visit ${sheet.dayAndClock(booking.visitAt, booking.zone)}</a>`
  }. ${whatToDo(reason, patient)}</span>
<form method="post" action="${sheet.at(`calls/${id}/close`)}"><button name="outcome" value="seen"
  aria-label="Seen: ${title}, ${name}">Seen</button></form></li>
`
}

export function closedEntry(sheet: PageContext, { followUp, patient }: Call): Html {
  const { id, reason, closedAt, closedBy, outcome } = followUp
  const { title } = FOLLOW_UP_REASONS[reason]
  return html`<li><span>${sheet.clock(closedAt!, sheet.clinic.zone)} ${title}${patient && `: ${patient.name}`}. ${outcome}, by ${closedBy}.</span> <form method="post" action="${sheet.at(`calls/${id}/reopen`)}"><button aria-label="Undo: ${title}${patient && `, ${patient.name}`}">Undo</button></form></li>
`
}
