import { DateTime } from 'luxon'
import { dateIn } from '../../../domain/local-time.ts'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import { findPatients } from '../../../flows/patients/find-patients.ts'
import { html, type Html } from '../pages/html.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { weeksIndex } from './weeks-index.ts'
import { visitsOf, type Visit } from './visits-shown.ts'
import { visitList } from './visit-list.ts'
import { dateOr, dateWords } from '../desk/when.ts'
import { startOfDay } from '../../../domain/local-time.ts'

const DAYS_AHEAD = 28
const ON_A_PAGE = 40
const MOST_FOUND = 20

export function mountBookings(desk: Desk): void {
  desk.get('bookings', bookings)
  desk.post('find', find)
}

/** Today and the coming four weeks: an index by day, and the visits from the chosen day on, a page at a time. */
async function bookings(sheet: PageContext): Promise<Answer> {
  const { deps, clinic, query } = sheet
  const today = dateIn(sheet.now, clinic.zone)
  const from = dateOr(query.from, today)
  const end = startOfDay(addDays(from > today ? from : today, DAYS_AHEAD), clinic.zone)
  const after = readCursor(query.after)
  const found = await deps.store.read.bookings.list({
    clinicId: clinic.id,
    state: 'booked',
    from: startOfDay(from, clinic.zone),
    to: end,
    ...(after && { after }),
    limit: ON_A_PAGE + 1,
  })
  const visits = await visitsOf(deps, found.slice(0, ON_A_PAGE))
  const counts = await deps.store.read.bookings.countByDay({
    clinicId: clinic.id,
    from: startOfDay(today, clinic.zone),
    to: startOfDay(addDays(today, DAYS_AHEAD), clinic.zone),
    zone: clinic.zone,
  })
  const here = sheet.at(`bookings?from=${from}${query.after ? `&after=${encodeURIComponent(query.after)}` : ''}`)
  return {
    title: 'Bookings',
    here: 'bookings',
    body: html`${searchForm(sheet, '')}
${weeksIndex({ sheet, today, chosen: from, counts, days: DAYS_AHEAD })}
<section id="visits" data-live hx-get="${here}" hx-trigger="news" hx-select="#visits" hx-swap="outerHTML"
  aria-label="Visits from ${dateWords(from, 'cccc d LLLL')} on">
${visits.length === 0 ? empty(sheet, from) : visitList(sheet, visits)}
${
  found.length > ON_A_PAGE &&
  html`<p class="more"><a id="more"
  href="${sheet.at(`bookings?from=${from}&after=${writeCursor(visits.at(-1)!)}`)}">Later visits</a></p>`
}
</section>`,
  }
}

function empty(sheet: PageContext, from: string): Html {
  return html`<p class="empty">No visits from ${dateWords(from, 'cccc d LLLL')} on, for four weeks. <a
    href="${sheet.at('book')}">Book a visit</a></p>`
}

/** Posted, so that no name ends up in an address, a history or a log. */
function searchForm(sheet: PageContext, typed: string): Html {
  return html`<form class="search" method="post" action="${sheet.at('find')}" role="search">
<label for="q">Find a patient</label>
<input id="q" name="q" type="search" value="${typed}" autocomplete="off" maxlength="120" aria-describedby="q-hint">
<button>Find</button>
<small id="q-hint">Beginnings of the names, the number, or its last four digits</small>
</form>`
}

async function find(sheet: PageContext): Promise<Answer> {
  const typed = field(sheet, 'q')
  const bookings = await findPatients(sheet.deps, sheet.clinic, typed, MOST_FOUND)
  const visits = await visitsOf(sheet.deps, bookings)
  const result =
    visits.length === 0
      ? html`<p class="empty">Nobody found with a visit at this clinic. Try the beginning of the last name, or the last four digits of the number.</p>`
      : visitList(sheet, visits, true)
  return {
    title: 'Bookings found',
    here: 'bookings',
    body: html`${searchForm(sheet, typed)}<section aria-label="Found">${result}</section><p><a
      href="${sheet.at('bookings')}">All bookings</a></p>`,
  }
}

function writeCursor({ booking }: Visit): string {
  return Buffer.from(`${booking.visitAt.toISOString()}|${booking.id}`).toString('base64url')
}

/** A cursor that cannot be read is none: the page begins at its day. */
function readCursor(cursor: string | undefined): { visitAt: Date; id: string } | undefined {
  const [instant, id] = Buffer.from(cursor ?? '', 'base64url')
    .toString()
    .split('|')
  const visitAt = DateTime.fromISO(instant ?? '', { zone: 'utc' })
  return visitAt.isValid && id ? { visitAt: visitAt.toJSDate(), id } : undefined
}
