import type { Patient } from '../../../domain/patients/patient.ts'
import type { FollowUp, FollowUpReason } from '../../../domain/calls/follow-up.ts'
import { onTheLine } from '../../../domain/calls/on-the-line.ts'
import { CALL_ENDINGS, endingsOf, leadsTo, outcomeOf, type EndingName } from '../../../domain/calls/call-endings.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import { Failure, badInput } from '../../../domain/failure.ts'
import { withOffset } from '../../../domain/local-time.ts'
import { closeFollowUp } from '../../../flows/calls/close-follow-up.ts'
import { recordConsentOfMany } from '../../../flows/patients/record-consent-of-many.ts'
import { html, type Html } from '../pages/html.ts'
import { MOST_ROWS } from '../desk/form-limits.ts'
import { field } from '../desk/page.ts'
import type { Answer, Download, PageContext } from '../desk/page-context.ts'
import { secondWords } from '../desk/words.ts'
import { telephone } from '../patients/line-note.ts'
import { allRows, chosenRows, rowsOf } from './alike-rows.ts'
import type { CallSubject } from './call-subjects.ts'
import { commaSeparated } from '../../comma-separated.ts'
import { countsIn, countsOf, inAddress, outcomeWords } from './consent-many.ts'

/** Many calls for one reason, as one entry of the list. */
export function alikeEntry(sheet: PageContext, reason: FollowUpReason, count: number): Html {
  const { urgency, title, todo } = FOLLOW_UP_REASONS[reason]
  return html`<article class="call u${urgency}" aria-labelledby="alike-${reason}">
<div class="margin"><b>${count}</b><small>visits</small></div>
<div class="what"><h3 id="alike-${reason}">${title}: ${count} visits</h3><p>${todo}</p></div>
<div class="reach"><a class="main" href="${sheet.at(`calls/alike/${reason}`)}">Open the list</a></div>
</article>
`
}

/** @throws not-found for a reason that there is none of, or whose calls stand by themselves */
function reasonOf({ params }: PageContext): FollowUpReason {
  const reason = params.reason as FollowUpReason
  if (Object.hasOwn(FOLLOW_UP_REASONS, reason) && FOLLOW_UP_REASONS[reason].many === 'together') return reason
  throw new Failure('not-found', { message: 'There is no such list of calls.' })
}

export async function alikePage(sheet: PageContext): Promise<Answer> {
  const reason = reasonOf(sheet)
  const rows = await rowsOf(sheet, { reason, limit: MOST_ROWS })
  const open = (await sheet.deps.store.read.followUps.countOpen(sheet.clinic.id)).get(reason) ?? 0
  const { title, todo } = FOLLOW_UP_REASONS[reason]
  const here = sheet.at(`calls/alike/${reason}`)
  return {
    title: `${title}: ${open} visits`,
    here: 'calls',
    body: html`<p><a href="${sheet.at('calls')}">Back to the call list</a></p>
<p>${todo}</p>
${whatBecame(sheet)}${open > rows.length && leftOut(rows.length, open)}
${
  rows.length === 0
    ? html`<p class="empty">Nobody is on this list any more.</p>`
    : html`<p class="on-screen"><a href="${here}/file">Take the list away as a file</a>, or print this page.</p>
<form method="post" action="${here}">${table(sheet, rows)}
<div class="line on-screen"><div class="field"><label for="outcome">Outcome</label><select id="outcome"
  name="outcome">${outcomes(reason).map((name) => html`<option value="${name}">${CALL_ENDINGS[name].words}</option>`)}</select></div>
<button class="main">Record for those chosen</button>${reason === 'no-consent' && consentPart(here)}</div></form>`
}`,
  }
}

/** Of many who were ticked, not all can be recorded: how many, and why. */
function whatBecame({ query }: PageContext): Html | null {
  const counts = countsIn(query)
  return counts && html`${outcomeWords(counts).map((words) => html`<p class="note">${words}</p>`)}`
}

const leftOut = (shown: number, open: number): Html =>
  html`<p class="note">The ${shown} soonest visits are shown. ${open - shown} more follow when these are done; the file has all.</p>`

/** Of many at once: what is recorded by itself, and leads to no form of one visit. */
const outcomes = (reason: FollowUpReason): EndingName[] => [
  ...endingsOf(reason).filter((name) => leadsTo(name) === undefined),
  'not-needed',
]

function table(sheet: PageContext, rows: readonly CallSubject[]): Html {
  return html`<table class="ledger"><caption class="unseen">Soonest visit first</caption>
<thead><tr><th scope="col">Chosen</th><th scope="col">Patient</th><th scope="col">Telephone</th><th
  scope="col">Visit</th><th scope="col">Done</th></tr></thead>
<tbody>${rows.map((row) => entry(sheet, row))}</tbody></table>`
}

function entry(sheet: PageContext, { followUp, patient, booking }: CallSubject): Html {
  const name = patient?.name ?? 'not known'
  return html`<tr><td><input type="checkbox" name="chosen" value="${followUp.id}" aria-label="Choose ${name}"></td>
<td class="who"><b>${name}</b>${patient && secondWords(patient) && html`<small>${secondWords(patient)}</small>`}${besides(followUp, patient).map((words) => html`<small>${words}</small>`)}</td>
<td>${followUp.phone && telephone(followUp.phone, patient)}</td>
<td>${booking && html`<a href="${sheet.at(`visits/${booking.id}`)}">${sheet.dayAndClock(booking.visitAt, booking.zone)}</a>`}</td>
<td class="tick"><span class="box" aria-hidden="true"></span></td></tr>
`
}

/** Why this one is on the list, and whom a caller has on the line. */
function besides({ detail }: FollowUp, patient: Patient | null): string[] {
  const line = patient && onTheLine(patient)
  return [...(typeof detail.why === 'string' ? [detail.why] : []), ...(line === null ? [] : [line])]
}

/** For a clinic that has its patients' consent in its own records. */
function consentPart(here: string): Html {
  return html`<details><summary>They have agreed already</summary>
<div class="field"><label for="wording">In which words they were asked, and where that is on record</label><input
  id="wording" name="wording" maxlength="500" autocomplete="off"></div>
<p>Recorded for each of those chosen, in your name. Only for whom it is true.</p>
<button formaction="${here}/consent">Record consent for those chosen</button></details>`
}

/** What somebody else closed meanwhile is closed: nothing is wrong with the others. */
async function unlessSettled(work: Promise<unknown>): Promise<void> {
  try {
    await work
  } catch (error) {
    if (!(error instanceof Failure) || error.code !== 'too-late') throw error
  }
}

export async function closeAlike(sheet: PageContext): Promise<Answer> {
  const reason = reasonOf(sheet)
  const outcome = outcomeOf(reason, field(sheet, 'outcome')) ?? badInput('outcome', 'Choose what came of it.')
  for (const { followUp } of (await chosenRows(sheet, reason)).rows)
    await unlessSettled(closeFollowUp(sheet.deps, followUp.id, sheet.who.name, outcome))
  sheet.deps.notice('follow-ups-closed', {})
  return { to: sheet.at(`calls/alike/${reason}?said=closed-many`) }
}

export async function consentAlike(sheet: PageContext): Promise<Answer> {
  if (reasonOf(sheet) !== 'no-consent') badInput('reason', 'Consent is recorded from the list “No consent” only.')
  const wording = field(sheet, 'wording')
  if (wording === '') badInput('wording', 'Say in which words the patients were asked, and where that is on record.')
  const { rows, gone } = await chosenRows(sheet, 'no-consent')
  const visits = rows.flatMap(({ booking }) => booking ?? [])
  const done = await recordConsentOfMany(sheet.deps, visits, { wording, by: sheet.who.name })
  const counts = countsOf(done, gone)
  if (done.recorded.length === 0) badInput('chosen', outcomeWords(counts).join(' '))
  return { to: sheet.at(`calls/alike/no-consent?${inAddress(counts)}`) }
}

/** The list as a file for a spreadsheet. */
export async function alikeFile(sheet: PageContext): Promise<Download> {
  const reason = reasonOf(sheet)
  const all = await allRows(sheet, reason)
  const rows = all.map(({ followUp, patient, booking }) => [
    patient?.name ?? '',
    patient?.birthDate ?? '',
    patient?.ownNumber ?? '',
    followUp.phone ?? '',
    booking ? withOffset(booking.visitAt, booking.zone) : '',
    FOLLOW_UP_REASONS[reason].title,
    besides(followUp, patient).join(' '),
  ])
  const header = ['name', 'birth date', 'own number', 'telephone', 'visit', 'reason', 'besides']
  const content = commaSeparated([header, ...rows])
  const shows = all.map(({ followUp }) => followUp.id)
  return { file: `calls-${reason}.csv`, type: 'text/csv; charset=utf-8', content, shows }
}
