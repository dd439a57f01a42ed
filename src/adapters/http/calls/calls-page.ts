import { badInput } from '../../../domain/failure.ts'
import { outcomeOf, TO_KNOW } from '../../../domain/calls/call-endings.ts'
import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import { closeFollowUp } from '../../../flows/calls/close-follow-up.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { settleMove } from '../../../flows/visits/move-visit.ts'
import { noteCallTry } from '../../../flows/calls/note-call-try.ts'
import { reopenFollowUp } from '../../../flows/calls/reopen-follow-up.ts'
import { html, type Html } from '../pages/html.ts'
import { callsOf, cardsOf, type Card } from './call-data.ts'
import { cardEntry, closedEntry, knownEntry } from './call-entry.ts'
import { alikeEntry, alikeFile, alikePage, closeAlike, consentAlike } from './alike-page.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { soundChoice } from '../desk/watch.ts'
import { URGENCY } from '../desk/words.ts'

const KNOWN_SHOWN = 40
const CLOSED_SHOWN = 12
const DAY_MS = 86_400_000

export function mountCalls(desk: Desk): void {
  desk.get('calls', callList)
  desk.get('calls/alike/:reason', alikePage)
  desk.get('calls/alike/:reason/file', alikeFile)
  desk.post('calls/alike/:reason', closeAlike)
  desk.post('calls/alike/:reason/consent', consentAlike)
  desk.post('calls/:id/close', close)
  desk.post('calls/:id/reopen', reopen)
  desk.post('calls/:id/settle', settle)
}

/** What a person must do: a card a patient, most urgent and oldest first, with everything needed to call. */
async function callList(sheet: PageContext): Promise<Answer> {
  const { deps, clinic, now, calls } = sheet
  const cards = await cardsOf(sheet)
  const closed = await deps.store.read.followUps.recentlyClosed(
    clinic.id,
    new Date(now.getTime() - DAY_MS),
    CLOSED_SHOWN,
  )
  const more = calls.cards - cards.length
  return {
    title: 'Call list',
    here: 'calls',
    rules: true,
    body: html`${undoPart(sheet, closed)}${soundChoice()}<p>Speak to the patient alone. On a voicemail, give only the clinic's name and number.</p>
<section id="calls" data-live hx-get="${sheet.at('calls')}" hx-trigger="news" hx-select="#calls" hx-swap="outerHTML"
  aria-label="Open follow-ups">
${calls.entries === 0 ? html`<p class="empty">Nobody needs a call.</p>` : URGENCIES.map((urgency) => section(sheet, urgency, cards))}
${more > 0 && html`<p>${more} more follow these.</p>`}
${await toKnow(sheet)}
${
  closed.length > 0 &&
  html`<h2>Closed in the last 24 hours</h2><ul
  class="closed">${(await callsOf(sheet, closed)).map((call) => closedEntry(sheet, call))}</ul>`
}
</section>`,
  }
}

const URGENCIES = [1, 2, 3] as const

/** Of one urgency: each card, and below them what concerns many, a line a reason. */
function section(sheet: PageContext, urgency: 1 | 2 | 3, cards: readonly Card[]): Html | null {
  const { together, counts } = sheet.calls
  const own = cards.filter(([{ followUp }]) => FOLLOW_UP_REASONS[followUp.reason].urgency === urgency)
  const lists = together.filter((reason) => FOLLOW_UP_REASONS[reason].urgency === urgency && !TO_KNOW.includes(reason))
  if (own.length + lists.length === 0) return null
  return html`<h2>${URGENCY[urgency]}</h2>${own.map((card) => cardEntry(sheet, card))}${lists.map((reason) =>
    alikeEntry(sheet, reason, counts.get(reason)!),
  )}`
}

/** What is no call, below all calls. */
async function toKnow(sheet: PageContext): Promise<Html | null> {
  const { together, counts } = sheet.calls
  const [lists, single] = [true, false].map((isList) => TO_KNOW.filter((each) => together.includes(each) === isList))
  const all = { clinicId: sheet.clinic.id, unplacedToo: true, open: true, limit: KNOWN_SHOWN }
  const open = single!.length > 0 ? await sheet.deps.store.read.followUps.list({ ...all, reasons: single! }) : []
  if (open.length + lists!.length === 0) return null
  return html`<h2>To know</h2><p>No call is needed for these.</p>
${lists!.map((reason) => alikeEntry(sheet, reason, counts.get(reason)!))}
<ul class="closed known">${(await callsOf(sheet, open)).map((call) => knownEntry(sheet, call))}</ul>`
}

/** What was just recorded can be taken back where the eye is. */
function undoPart(sheet: PageContext, closed: readonly FollowUp[]): Html | null {
  const just = closed.find(({ id }) => id === sheet.query.undo)
  if (!just || sheet.query.said !== 'closed') return null
  return html`<form class="undo" method="post" action="${sheet.at(`calls/${just.id}/reopen`)}"><span>${FOLLOW_UP_REASONS[just.reason].title}: ${just.outcome}.</span> <button>Undo</button></form>
`
}

async function close(sheet: PageContext): Promise<Answer> {
  const { deps, params } = sheet
  const pressed = field(sheet, 'outcome')
  if (pressed === 'no-answer') {
    await noteCallTry(deps, params.id!, sheet.who.name)
    return { to: sheet.at('calls?said=tried') }
  }
  const { reason } = orNotFound(await deps.store.read.followUps.get(params.id!), 'follow-up')
  const outcome = outcomeOf(reason, pressed) ?? field(sheet, 'words')
  if (outcome === '') badInput('words', 'Say what came of it.')
  await closeFollowUp(deps, params.id!, sheet.who.name, outcome.slice(0, 500))
  deps.notice('follow-up-closed', { followUp: params.id! })
  return { to: sheet.at(`calls?said=closed&undo=${params.id!}`) }
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
  const moved = await settleMove(deps, String(followUp.detail.offer), approve, sheet.who.name)
  return { to: sheet.at(`calls?said=${moved ? 'approved' : approve ? 'approved-gone' : 'declined'}`) }
}
