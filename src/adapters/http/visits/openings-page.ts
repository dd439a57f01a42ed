import * as z from 'zod'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import { Failure, badInput } from '../../../domain/failure.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { LONGEST_MINUTES, SHORTEST_MINUTES } from '../../../domain/visits/duration.ts'
import { seriesTimes } from '../../../domain/visits/opening-series.ts'
import { closeDay } from '../../../flows/visits/close-day.ts'
import { addOpenings, removeOpening } from '../../../flows/visits/manage-openings.ts'
import { html } from '../pages/html.ts'
import { seriesForm, type SeriesFields } from './series-form.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { weekGrid } from './week-grid.ts'
import { dateOr, dateWords } from '../desk/when.ts'
import { startOfDay } from '../../../domain/local-time.ts'

/** More times than this in one week are several clinics. */
const MOST_A_WEEK = 1_500

export function mountOpenings(desk: Desk): void {
  desk.get('openings', (sheet) => openings(sheet, null, {}))
  desk.post('openings', addMany)
  desk.post('openings/close', close)
  desk.post('openings/:id/remove', remove)
}

/** The times of one week: free, held (until when), booked; and adding many at once. */
async function openings(
  sheet: PageContext,
  fields: SeriesFields | null,
  faults: Record<string, string>,
): Promise<PageContent> {
  const { deps, clinic, query } = sheet
  const today = dateIn(sheet.now, clinic.zone)
  const monday = mondayOf(dateOr(fields?.from || query.week, today))
  const interval = { from: startOfDay(monday, clinic.zone), to: startOfDay(addDays(monday, 7), clinic.zone) }
  const slots = await deps.store.read.slots.list({ clinicId: clinic.id, ...interval, limit: MOST_A_WEEK })
  const here = sheet.at(`openings?week=${monday}`)
  return {
    title: 'Openings',
    here: 'openings',
    body: html`<p class="pager"><a
      href="${sheet.at(`openings?week=${addDays(monday, -7)}`)}">Week before</a> <b>${dateWords(monday, 'd LLLL')} to ${dateWords(addDays(monday, 6), 'd LLLL yyyy')}</b> <a href="${sheet.at(`openings?week=${addDays(monday, 7)}`)}">Week after</a></p>
<section id="week" data-live hx-get="${here}" hx-trigger="news" hx-select="#week" hx-swap="outerHTML"
  aria-label="Times of the week">${weekGrid(sheet, monday, slots)}</section>
${seriesForm(sheet, fields ?? usualFields(monday < today ? today : monday), faults)}`,
  }
}

function mondayOf(date: string): string {
  return addDays(date, 1 - Number(dateWords(date, 'E')))
}

function usualFields(from: string): SeriesFields {
  return {
    from,
    to: addDays(from, 27),
    weekdays: ['2', '4'],
    first: '09:00',
    until: '12:00',
    every: '20',
    lasting: '',
    clinician: '',
  }
}

const clock = z.string().regex(/^([01]\d|2[0-3]):[0-5]\d$/, 'Write the time as HH:MM.')
const series = z.object({
  from: z.iso.date('Give the first day.'),
  to: z.iso.date('Give the last day.'),
  weekdays: z.array(z.coerce.number().int().min(1).max(7)).min(1, 'Choose at least one day of the week.'),
  first: clock,
  until: clock,
  every: z.coerce
    .number('Give a number of minutes.')
    .int()
    .min(5, 'Give at least 5 minutes.')
    .max(240, 'Give at most 240 minutes.'),
  lasting: z.union([
    z.literal('').transform(() => undefined),
    z.coerce
      .number('Give a number of minutes, or leave it empty.')
      .int()
      .min(SHORTEST_MINUTES, `Give at least ${SHORTEST_MINUTES} minutes.`)
      .max(LONGEST_MINUTES, `Give at most ${LONGEST_MINUTES} minutes.`),
  ]),
  clinician: z.string().max(80),
})

async function addMany(sheet: PageContext): Promise<Answer> {
  const fields = fieldsOf(sheet)
  try {
    const { every, lasting, ...wanted } = series.parse(fields)
    const future = seriesTimes({ ...wanted, everyMinutes: every }, sheet.clinic.zone).filter((at) =>
      isToCome(sheet, at),
    )
    if (future.length === 0) badInput('from', 'All of these times are past.')
    const { added } = await addOpenings(sheet.deps, {
      clinic: sheet.clinic.id,
      clinician: wanted.clinician,
      at: future,
      minutes: lasting,
    })
    sheet.deps.notice('openings-added', { clinic: sheet.clinic.id })
    return {
      to: sheet.at(`openings?week=${fields.from}&said=${added.length > 0 ? 'openings-added' : 'openings-known'}`),
    }
  } catch (error) {
    return { status: 422, page: await openings(sheet, fields, faultsOf(error)) }
  }
}

function isToCome({ now, clinic }: PageContext, at: string): boolean {
  return (
    at >
    `${dateIn(now, clinic.zone)}T${new Intl.DateTimeFormat('en-GB', { timeZone: clinic.zone, hour: '2-digit', minute: '2-digit' }).format(now)}`
  )
}

function fieldsOf(sheet: PageContext): SeriesFields {
  const one = (name: string) => field(sheet, name)
  return {
    from: one('from'),
    to: one('to'),
    weekdays: [sheet.form.weekdays ?? []].flat(),
    first: one('first'),
    until: one('until'),
    every: one('every'),
    lasting: one('lasting'),
    clinician: one('clinician'),
  }
}

function faultsOf(error: unknown): Record<string, string> {
  if (error instanceof z.ZodError)
    return Object.fromEntries(error.issues.map(({ path, message }) => [String(path[0]), message]))
  if (error instanceof Failure) return { [error.detail.field ?? 'from']: error.detail.message }
  throw error
}

async function close(sheet: PageContext): Promise<Answer> {
  const date = dateOr(field(sheet, 'date'), '') || badInput('date', 'Say which day.')
  const { zone, id } = sheet.clinic
  await closeDay(sheet.deps, id, { from: startOfDay(date, zone), to: startOfDay(addDays(date, 1), zone) })
  return { to: sheet.at(`openings?week=${date}&said=day-closed`) }
}

async function remove(sheet: PageContext): Promise<Answer> {
  await removeOpening(sheet.deps, sheet.params.id!)
  sheet.deps.notice('opening-removed', { opening: sheet.params.id! })
  return {
    to: sheet.at(`openings?week=${dateOr(field(sheet, 'date'), dateIn(sheet.now, sheet.clinic.zone))}&said=removed`),
  }
}
