import { addDays } from '../../../domain/preparation/cycle/days.ts'
import { ALWAYS_ASK } from '../../../domain/preparation/things-to-ask.ts'
import type { FullProtocol, StorageLimit } from '../../../domain/preparation/protocol.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { html, type Html } from '../pages/html.ts'
import { sheetTable } from './day-sheet-table.ts'
import { badInput } from '../../../domain/failure.ts'
import { BECAUSE, OUTCOME_KINDS } from '../../../domain/visits/outcome.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { recordOutcome } from '../../../flows/visits/record-outcome.ts'
import { takeBackOutcome } from '../../../flows/visits/take-back-outcome.ts'
import { visitHere } from '../visits/visit-deeds.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { visitsOf, type Visit } from '../visits/visits-shown.ts'
import { dateOr, dateWords } from '../desk/when.ts'
import { startOfDay } from '../../../domain/local-time.ts'

/** More visits than this are no one's day. */
const MOST = 120
/** So few fit on one page in larger letters. */
const FEW = 12
/** More than so many fit on one page in smaller letters only. */
const FULL = 16

export function mountDaySheet(desk: Desk): void {
  desk.get('day-sheet', daySheet)
  desk.post('day-sheet/:id', endVisit)
}

/** One clinician, one day: made to be printed on one page and carried along. */
async function daySheet(sheet: PageContext): Promise<Answer> {
  const { deps, clinic, query } = sheet
  const date = dateOr(query.date, dateIn(sheet.now, clinic.zone))
  const interval = { from: startOfDay(date, clinic.zone), to: startOfDay(addDays(date, 1), clinic.zone) }
  const all = await visitsOf(
    deps,
    await deps.store.read.bookings.list({ clinicId: clinic.id, state: 'booked', ...interval, limit: MOST }),
  )
  const own = sheet.who.clinician
  // Whoever is tied to a list sees that list, whatever the address says.
  const clinicians = own === null ? [...new Set(all.map(({ booking }) => booking.clinician))].sort() : [own]
  const chosen = own ?? query.clinician ?? clinicians[0] ?? ''
  const visits = all.filter(({ booking }) => booking.clinician === chosen)
  const protocols = [...new Map(visits.map(({ protocol }) => [protocol.id, protocol])).values()]
  return {
    title: 'Day sheet',
    here: 'day-sheet',
    rules: true,
    body: html`${chooser(sheet, date, clinicians, chosen)}
<section id="sheet" class="sheet${sizeOf(visits)}" data-live
  hx-get="${sheet.at(`day-sheet?date=${date}&clinician=${encodeURIComponent(chosen)}`)}" hx-trigger="news"
    hx-select="#sheet" hx-swap="outerHTML" aria-label="Visits of the day">
<p class="headline"><b>${dateWords(date, 'cccc d LLLL yyyy')}</b> ${clinic.name}${chosen && `, ${chosen}`}. ${visits.length === 1 ? '1 visit' : `${visits.length} visits`}. <small>As of ${sheet.dayAndClock(sheet.now, clinic.zone)}, times ${clinic.zone}</small></p>
${
  visits.length === 0
    ? html`<p class="empty">No visits on this day.${
        sheet.may('visits:write') &&
        html` <a
  href="${sheet.at(`book?date=${date}`)}">Book a visit</a>`
      }</p>`
    : sheetTable(sheet, visits)
}
${visits.length > 0 && alwaysAsk()}
${protocols.map((protocol) => checklist(protocol, visits))}
<p class="caution">Cycle days are likely, not certain: the patient knows best. For timing a specimen only, never for contraception or conception. The clinic's own protocol, licensed practice and the laboratory's directory prevail over everything on this sheet.</p>
</section>`,
  }
}

/** How large the letters are on paper. */
function sizeOf({ length }: readonly Visit[]): string {
  if (length <= FEW) return ' few'
  return length > FULL ? ' full' : ''
}

/**
 * What came of one visit, or that it was pressed by mistake. Whoever is tied to a list records that list only.
 * @throws not-found for any other
 */
async function endVisit(sheet: PageContext): Promise<Answer> {
  const { booking } = await visitHere(sheet)
  const { clinician, name } = sheet.who
  orNotFound(clinician === null || clinician === booking.clinician ? booking : undefined, 'booking')
  const date = dateIn(booking.visitAt, booking.zone)
  const back = sheet.at(`day-sheet?date=${date}&clinician=${encodeURIComponent(booking.clinician)}`)
  const [kind, because] = field(sheet, 'outcome').split(':')
  if (kind === 'none') {
    await takeBackOutcome(sheet.deps, booking.id, name)
    return { to: `${back}&said=end-undone` }
  }
  const known = OUTCOME_KINDS.find((each) => each === kind) ?? badInput('outcome', 'Choose how the visit ended.')
  await recordOutcome(sheet.deps, booking.id, {
    kind: known,
    because: BECAUSE.find((each) => each === because) ?? null,
    by: name,
  })
  return { to: `${back}&said=ended` }
}

function chooser(sheet: PageContext, date: string, clinicians: readonly string[], chosen: string): Html {
  return html`<form class="chooser" method="get" action="${sheet.at('day-sheet')}">
<div class="field"><label for="date">Day</label><input id="date" type="date" name="date" value="${date}"></div>
${
  clinicians.length > 1 &&
  html`<div class="field"><label for="clinician">Clinician or room</label><select
  id="clinician" name="clinician">${clinicians.map(
    (name) => html`<option
    value="${name}"${name === chosen && html` selected`}>${name === '' ? 'Not named' : name}</option>`,
  )}</select></div>`
}
<button>Show</button> <a href="${sheet.at(`day-sheet?date=${addDays(date, -1)}`)}">Day before</a> <a
  href="${sheet.at(`day-sheet?date=${addDays(date, 1)}`)}">Day after</a>
<button type="button" class="main" data-print>Print</button>
</form>`
}

/** Timing is not all that matters before a specimen is taken. */
function alwaysAsk(): Html {
  return html`<div class="checklist"><p><b>Ask everyone.</b> ${ALWAYS_ASK.join(' ')}</p></div>`
}

function checklist({ names, checklist: items, vial, avoidDays, avoid }: FullProtocol, visits: readonly Visit[]): Html {
  const several = new Set(visits.map(({ protocol }) => protocol.id)).size > 1
  const asked = avoid.map(({ what, hours }) => `${what.replaceAll('-', ' ')} ${hours} h`)
  const days = avoidDays && `Not on cycle days ${avoidDays.first} to ${avoidDays.last}.`
  return html`<div class="checklist"><h2>${several ? `At collection: ${names.en}` : 'At collection'}</h2>
<ol>${items.map(({ text }) => html`<li>${text}</li>`)}</ol>
<p><b>Send with the next transport${vial && `; ${limitWords(vial)}`}.</b> ${days}
${avoid.length > 0 && `Asked to avoid: ${asked.join(', ')}. Prescribed medicine is not meant.`}</p></div>`
}

/** A storage limit is no deadline to send: the laboratory needs its part of it. */
function limitWords({ medium, keepsDays, source }: StorageLimit): string {
  const vials = medium === undefined ? '' : ` for ${medium}`
  return `laboratory limit${vials} ${keepsDays} days from collection to processing (${source})`
}
