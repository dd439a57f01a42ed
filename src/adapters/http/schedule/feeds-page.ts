import { Failure, badInput } from '../../../domain/failure.ts'
import type { Feed } from '../../../domain/schedule/feed.ts'
import { isSilent } from '../../../domain/schedule/silence.ts'
import { sayCode, unmappedCodes } from '../../../flows/schedule/say-code.ts'
import { tryWaitingAgain } from '../../../flows/schedule/try-waiting-again.ts'
import type { FeedFault, FeedFigures } from '../../../flows/ports/schedule.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContent, PageContext } from '../desk/page-context.ts'
import { age, dateWords } from '../desk/when.ts'
import { html, type Html } from '../pages/html.ts'
import { faultSummary, inputField, type Faults } from '../settings/form-fields.ts'
import { calendarsOf } from './calendars.ts'
import { clinicsFor, codeForms } from './code-forms.ts'
import { applyUpload, previewUpload, uploadResult } from './feed-upload.ts'
import { countedWords, whyWords } from './feed-words.ts'

const DAY_MS = 86_400_000
const DAYS = 7
const FAULTS = 20
/** Those of other clinics are left out. */
const FAULTS_READ = 200

export function mountFeeds(desk: Desk): void {
  desk.get('feeds', (sheet) => page(sheet, {}))
  desk.post('feeds/:feed/again', again)
  desk.post('feeds/:feed/code', code)
  desk.upload('feeds/:feed/look', (sheet) => orFaults(sheet, () => previewUpload(sheet, wholly(sheet))))
  desk.upload('feeds/:feed/apply', (sheet) => orFaults(sheet, () => applyUpload(sheet, wholly(sheet))))
  desk.upload('feeds/:feed/result', (sheet) => orFaults(sheet, () => uploadResult(sheet, wholly(sheet))))
}

/** How the schedules stand that the clinic keeps elsewhere: figures and appointments' ids, nothing about anybody. */
async function page(sheet: PageContext, faults: Faults): Promise<PageContent> {
  const parts = await Promise.all(sheet.feeds.map((feed) => feedPart(sheet, feed, faults)))
  return {
    title: 'The clinic’s own schedule',
    here: 'feeds',
    body: html`<p>Visits that are booked, moved or cancelled in the clinic’s own schedule are so here too. What cannot be used waits, and is on the call list.</p>
${faultSummary(faults, 'Nothing was taken.')}
${parts.length === 0 ? html`<p class="empty">No schedule that is kept elsewhere is of this clinic.</p>` : parts}
${await calendarPart(sheet)}`,
  }
}

/** Where calendars elsewhere find the visits. Whoever may not change a visit sees no address: it is a key. */
async function calendarPart(sheet: PageContext): Promise<Html | null> {
  const all = sheet.may('visits:write') ? await calendarsOf(sheet.deps, sheet.clinic) : []
  if (all.length === 0) return null
  const names = sheet.clinic.settings.calendar === 'with-names' ? 'times and names' : 'times, without names'
  return html`<section aria-labelledby="calendars"><h2 id="calendars">Calendars elsewhere</h2>
<p>A calendar program that is given one of these addresses shows the visits: ${names}. Whoever has an address sees them; give it to nobody else.</p>
<table><thead><tr><th scope="col">Visits of</th><th scope="col">Address</th></tr></thead><tbody>${all.map(
    ({ clinician, path }) =>
      html`<tr><th scope="row">${clinician === '' ? 'The whole clinic' : clinician}</th><td><a href="${path}">${path}</a></td></tr>`,
  )}</tbody></table></section>
`
}

async function feedPart(sheet: PageContext, feed: Feed, faults: Faults): Promise<Html> {
  const { deps, clinic, now } = sheet
  const since = new Date(now.getTime() - (DAYS - 1) * DAY_MS).toISOString().slice(0, 10)
  const figures = await deps.store.read.feeds.figures(feed.name, since)
  const told = await deps.store.read.feeds.faults(feed.name, FAULTS_READ)
  const ours = told.filter(({ clinicId }) => clinicId === clinic.id || clinicId === null).slice(0, FAULTS)
  const isOwn = sheet.may('visits:write') && isWhollyOf(sheet, feed)
  return html`<section aria-labelledby="feed-${feed.name}"><h2 id="feed-${feed.name}">Schedule “${feed.name}”</h2>
${isSilent(figures.heardAt, now, clinic.zone) && silence(sheet, figures)}
${facts(sheet, feed, figures)}
${isOwn && (await codeForms(sheet, feed, await unmappedCodes(deps, feed)))}
<h3>What came in the last ${DAYS} days</h3>${days(figures)}
<h3>What could not be used</h3>${faultTable(sheet, ours)}
${isOwn && uploadForm(sheet, feed, faults)}</section>
`
}

function silence({ dayAndClock, clinic }: PageContext, { heardAt }: FeedFigures): Html {
  const since = heardAt === null ? 'ever' : `since ${dayAndClock(heardAt, clinic.zone)}`
  return html`<p class="note">Nothing has come from this schedule ${since}: what was booked or moved there may be missing here. Ask whoever looks after it whether it still sends.</p>`
}

function facts(sheet: PageContext, feed: Feed, { heardAt, madeAt, waiting }: FeedFigures): Html {
  const { dayAndClock, clinic, now, at } = sheet
  const lag = madeAt && heardAt && heardAt > madeAt ? age(madeAt, heardAt) : null
  const retry = html`<form method="post" action="${at(`feeds/${feed.name}/again`)}"><button>Try again what waits</button></form>`
  return html`<dl class="facts"><div><dt>Last heard</dt><dd>${
    heardAt === null ? 'Never' : html`${dayAndClock(heardAt, clinic.zone)}<small>${age(heardAt, now)} ago</small>`
  }</dd></div>
<div><dt>Newest news was made there</dt><dd>${
    madeAt === null
      ? 'It does not say'
      : html`${dayAndClock(madeAt, clinic.zone)}${lag && html`<small>${lag} before it was heard</small>`}`
  }</dd></div>
<div><dt>Visits that wait for a person</dt><dd>${waiting}${
    waiting > 0 && sheet.may('calls:read') && html` <a href="${at('calls')}">Call list</a>`
  }</dd></div>${waiting > 0 && sheet.may('visits:write') && html`<div><dd>${retry}</dd></div>`}</dl>`
}

/** Days are those of the world's clock: the counts are kept by it. */
function days({ days: all }: FeedFigures): Html {
  const names = [...new Set(all.map(({ day }) => day))]
  if (names.length === 0) return html`<p class="empty">Nothing.</p>`
  const counts = (name: string) =>
    new Map(all.filter(({ day }) => day === name).map(({ does, count }) => [does, count] as const))
  return html`<table class="ledger plain-table"><caption class="unseen">By day</caption><thead><tr><th
  scope="col">Day</th><th scope="col">What was done</th></tr></thead>
<tbody>${names.map((name) => html`<tr><td>${dateWords(name)}</td><td>${countedWords(counts(name))}</td></tr>`)}</tbody></table>`
}

function faultTable(sheet: PageContext, faults: readonly FeedFault[]): Html {
  if (faults.length === 0) return html`<p class="empty">Everything could be used.</p>`
  return html`<table class="ledger replies"><caption class="unseen">Latest first</caption><thead><tr><th
  scope="col">When</th><th scope="col">Why</th></tr></thead><tbody>${faults.map(({ at, does, key, why }) => {
    const [appointment] = key.split('^')
    const what = does === 'refuse' ? 'Not taken' : 'For a person'
    const { words, place } = whyWords(why)
    return html`<tr><td class="time">${sheet.dayAndClock(at, sheet.clinic.zone)}</td>
<td><b>${what}</b>${appointment && `: appointment ${appointment}`}<p>${words}</p>${
      place && html`<small>For whoever looks after that schedule: ${place}</small>`
    }</td></tr>
`
  })}</tbody></table>`
}

function uploadForm(sheet: PageContext, { name }: Feed, faults: Faults): Html {
  const typed = (one: string) => field(sheet, one)
  const of = (one: string) => `${one}-${name}`
  const date = (one: 'from' | 'to', label: string) =>
    inputField(faults, { name: of(one), label, value: typed(of(one)), attributes: { type: 'date' } })
  return html`<details class="series"${Object.keys(faults).some((one) => one.endsWith(`-${name}`)) && html` open`}><summary>Read a file of this schedule</summary>
<form method="post" enctype="multipart/form-data" action="${sheet.at(`feeds/${name}/look`)}">
${inputField(faults, { name: of('file'), label: 'File', hint: 'A table (CSV), HL7, FHIR or a calendar, of at most 5 MB', value: '', attributes: { type: 'file' } })}
<fieldset><legend>Where the file holds every visit of some days</legend><div class="line">${date('from', 'First day')}${date('to', 'Last day')}</div>
<p>Visits that are booked here on these days and are not in the file are put to a person. None is cancelled for it.</p></fieldset>
<button class="main">Show what it would do</button></form></details>`
}

/** @throws not-found for a feed that is not of this clinic */
function feedOf({ feeds, params }: PageContext): Feed {
  const feed = feeds.find(({ name }) => name === params.feed)
  if (feed) return feed
  throw new Failure('not-found', { message: 'There is no such schedule of this clinic.' })
}

/** Whoever is tied to a clinic may not say what concerns another. */
const isWhollyOf = ({ who }: PageContext, { clinics }: Feed) =>
  who.clinicId === null || Object.values(clinics).every((clinic) => clinic === who.clinicId)

/** @throws forbidden where the feed is of other clinics too, and whoever asks is not */
function wholly(sheet: PageContext): Feed {
  const feed = feedOf(sheet)
  if (isWhollyOf(sheet, feed)) return feed
  throw new Failure('forbidden', { message: 'This schedule is of other clinics too: ask an administrator.' })
}

async function orFaults(sheet: PageContext, work: () => Promise<Answer>): Promise<Answer> {
  try {
    return await work()
  } catch (error) {
    if (!(error instanceof Failure) || error.code !== 'bad-input') throw error
    const { field: name = 'file', message } = error.detail
    return { status: 422, page: await page(sheet, { [`${name}-${sheet.params.feed}`]: message }) }
  }
}

async function again(sheet: PageContext): Promise<Answer> {
  const { waiting } = await tryWaitingAgain(sheet.deps, feedOf(sheet).name)
  return { to: sheet.at(`feeds?said=${waiting === 0 ? 'feed-settled' : 'feed-waits'}`) }
}

async function code(sheet: PageContext): Promise<Answer> {
  const feed = wholly(sheet)
  const part = field(sheet, 'part')
  const ours = field(sheet, 'ours')
  if (part !== 'clinics' && part !== 'languages') badInput('part', 'Say what the code is of.')
  const known = part === 'clinics' ? (await clinicsFor(sheet)).map(({ id }) => id) : [...sheet.library.languages.keys()]
  if (!known.includes(ours)) badInput('ours', 'Choose one of those shown.')
  const { waiting } = await sayCode(sheet.deps, feed, { part, code: field(sheet, 'code'), ours })
  return { to: sheet.at(`feeds?said=${waiting === 0 ? 'feed-settled' : 'feed-waits'}`) }
}
