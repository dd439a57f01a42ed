import { addDays } from '../../../domain/preparation/cycle/days.ts'
import type { FullProtocol, StorageLimit } from '../../../domain/preparation/protocol.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { html, type Html } from '../pages/html.ts'
import { sheetTable } from './day-sheet-table.ts'
import type { Answer, Desk, PageContext } from '../desk/page.ts'
import { visitsOf, type Visit } from '../visits/visits-shown.ts'
import { dateOr, dateWords, dayAndClock, startOf } from '../desk/when.ts'

/** More visits than this are no one's day. */
const MOST = 120
/** So few fit on one page in larger letters. */
const FEW = 12

export function mountDaySheet(desk: Desk): void {
  desk.get('day-sheet', daySheet)
}

/** One clinician, one day: made to be printed on one page and carried along. */
async function daySheet(sheet: PageContext): Promise<Answer> {
  const { deps, clinic, query } = sheet
  const date = dateOr(query.date, dateIn(sheet.now, clinic.zone))
  const interval = { from: startOf(date, clinic.zone), to: startOf(addDays(date, 1), clinic.zone) }
  const all = await visitsOf(deps, await deps.store.read.bookings.list({ clinicId: clinic.id, state: 'booked', ...interval, limit: MOST }))
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
<section id="sheet" class="sheet${visits.length <= FEW ? ' few' : ''}" data-live hx-get="${sheet.at(`day-sheet?date=${date}&clinician=${encodeURIComponent(chosen)}`)}" hx-trigger="news" hx-select="#sheet" hx-swap="outerHTML" aria-label="Visits of the day">
<p class="headline"><b>${dateWords(date, 'cccc d LLLL yyyy')}</b> ${clinic.name}${chosen && `, ${chosen}`}. ${visits.length === 1 ? '1 visit' : `${visits.length} visits`}. <small>As of ${dayAndClock(sheet.now, clinic.zone)}, times ${clinic.zone}</small></p>
${visits.length === 0 ? html`<p class="empty">No visits on this day.${sheet.may('visits:write') && html` <a href="${sheet.at(`book?date=${date}`)}">Book a visit</a>`}</p>` : sheetTable(sheet, visits)}
${protocols.map((protocol) => checklist(protocol, visits))}
<p class="caution">Cycle days are likely, not certain: the patient knows best. For timing a specimen only, never for contraception or conception. The clinic's own protocol, licensed practice and the laboratory's directory prevail over everything on this sheet.</p>
</section>`,
  }
}

function chooser(sheet: PageContext, date: string, clinicians: readonly string[], chosen: string): Html {
  return html`<form class="chooser" method="get" action="${sheet.at('day-sheet')}">
<div class="field"><label for="date">Day</label><input id="date" type="date" name="date" value="${date}"></div>
${clinicians.length > 1 && html`<div class="field"><label for="clinician">Clinician or room</label><select id="clinician" name="clinician">${clinicians.map((name) => html`<option value="${name}"${name === chosen && html` selected`}>${name === '' ? 'Not named' : name}</option>`)}</select></div>`}
<button>Show</button> <a href="${sheet.at(`day-sheet?date=${addDays(date, -1)}`)}">Day before</a> <a href="${sheet.at(`day-sheet?date=${addDays(date, 1)}`)}">Day after</a>
<button type="button" class="main" data-print>Print</button>
</form>`
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
