import { countsOf } from '../../../domain/schedule/check-line.ts'
import { wholeDays, type Whole } from '../../../domain/schedule/completeness.ts'
import type { Feed } from '../../../domain/schedule/feed.ts'
import { badInput, Failure } from '../../../domain/failure.ts'
import { previewNews } from '../../../flows/schedule/preview-news.ts'
import { takeNews } from '../../../flows/schedule/take-news.ts'
import { isBad, mendOf, resultFile, resultLines, type ResultLine } from '../../schedule/result-file.ts'
import { readTold } from '../../schedule/take-bytes.ts'
import { field } from '../desk/page.ts'
import type { Answer, Download, PageContext } from '../desk/page-context.ts'
import { html, type Html } from '../pages/html.ts'
import { openFile, sealFile, type CarriedFile } from './carried-file.ts'
import { countedWords, DOES } from './feed-words.ts'

/** What a file would do, row by row. Nothing is kept yet. */
export async function previewUpload(sheet: PageContext, feed: Feed): Promise<Answer> {
  const { chosen } = sheet
  if (!chosen) badInput('file', 'Choose a file.')
  const typed = (name: string) => field(sheet, `${name}-${feed.name}`)
  const file = { ...chosen, from: typed('from'), to: typed('to') }
  const whole = wholeOf(file, feed)
  const reads = await readTold(sheet.deps, feed.name, { ...file, whole })
  const results = resultLines(await previewNews(sheet.deps, feed.name, reads, whole), reads)
  return {
    title: 'What the file would do',
    here: 'feeds',
    body: html`<p class="headline">${summary(results)}</p>
<p>Nothing is kept yet. What a visit meets only when it is booked, a telephone number that is none for instance, is not seen here: it goes to the call list.</p>
${isFault(results) ? backTo(sheet) : applyForm(sheet, feed, file)}
${table(sheet, results)}`,
  }
}

/** Days of which the file is said to hold every visit. @throws bad-input where only one is told */
function wholeOf({ from, to }: Pick<CarriedFile, 'from' | 'to'>, { zone }: Feed): Whole | undefined {
  if (from === '' && to === '') return undefined
  const isDay = (written: string) => /^\d{4}-\d\d-\d\d$/.test(written) && !Number.isNaN(Date.parse(written))
  if (!isDay(from)) badInput('from', 'Give the first day too, or leave both empty.')
  if (!isDay(to)) badInput('to', 'Give the last day too, or leave both empty.')
  try {
    return wholeDays(from, to, zone)
  } catch (error) {
    if (error instanceof Failure) badInput('to', error.detail.message)
    throw error
  }
}

/** The file itself is at fault, and nothing of it can be taken. */
const isFault = (results: readonly ResultLine[]) =>
  results.length === 0 || (results.length === 1 && results[0]!.row === null && results[0]!.line.does === 'refuse')

function applyForm(sheet: PageContext, feed: Feed, file: CarriedFile): Html {
  const at = sheet.at(`feeds/${feed.name}/apply`)
  return html`<form method="post" enctype="multipart/form-data" action="${at}"><input type="hidden" name="file"
  value="${sealFile(sheet, feed.name, file)}">
<button class="main">Do it</button> <a href="${sheet.at('feeds')}">Leave it</a></form>`
}

const backTo = (sheet: PageContext): Html => html`<p><a href="${sheet.at('feeds')}">Back to the schedule</a></p>`

/** Does what was shown. */
export async function applyUpload(sheet: PageContext, feed: Feed): Promise<Answer> {
  const file = openFile(sheet, feed.name, field(sheet, 'file'))
  const whole = wholeOf(file, feed)
  const reads = await readTold(sheet.deps, feed.name, { ...file, whole })
  const results = resultLines(await takeNews(sheet.deps, feed.name, reads, whole), reads)
  const bad = results.filter(isBad)
  return {
    title: 'What the file did',
    here: 'feeds',
    body: html`<p class="headline">${summary(results)}</p>
${
  bad.length === 0
    ? html`<p>Every row was taken.</p>`
    : html`${resultForm(sheet, feed, bad)}<h2>Rows that a person must look at</h2>${table(sheet, bad, true)}`
}${backTo(sheet)}`,
  }
}

const summary = (results: readonly ResultLine[]): string =>
  countedWords(countsOf(results.map(({ line }) => line))) || 'There is nothing in this file.'

function resultForm(sheet: PageContext, feed: Feed, bad: readonly ResultLine[]): Html {
  const bytes = Buffer.from(JSON.stringify(bad))
  const sealed = sealFile(sheet, feed.name, { name: 'result', from: '', to: '', bytes })
  return html`<form method="post" enctype="multipart/form-data" action="${sheet.at(`feeds/${feed.name}/result`)}"><input
  type="hidden" name="file" value="${sealed}"><button>Take these rows away as a file</button></form>`
}

/** The rows to be mended, as a file for a spreadsheet. */
export async function uploadResult(sheet: PageContext, feed: Feed): Promise<Download> {
  const { bytes } = openFile(sheet, feed.name, field(sheet, 'file'))
  const rows = JSON.parse(Buffer.from(bytes).toString('utf8')) as ResultLine[]
  return { file: `${feed.name}.result.csv`, type: 'text/csv; charset=utf-8', content: resultFile(rows), shows: [] }
}

function table(sheet: PageContext, results: readonly ResultLine[], mends = false): Html {
  return html`<table class="ledger rows"><caption class="unseen">Rows of the file</caption>
<thead><tr><th scope="col">Row</th><th scope="col">What</th><th scope="col">Why</th></tr></thead>
<tbody>${results.map((result) => rowOf(sheet, result, mends))}</tbody></table>`
}

function rowOf(sheet: PageContext, { row, line }: ResultLine, mends: boolean): Html {
  const [appointment] = (line.key ?? '').split('^')
  const at = line.visit === undefined ? '' : sheet.dayAndClock(new Date(line.visit), sheet.clinic.zone)
  const isBadRow = line.does === 'hold' || line.does === 'refuse'
  return html`<tr><td class="time">${row ?? 'None'}</td>
<td>${isBadRow ? html`<b class="act">${DOES[line.does].row}</b>` : html`<b>${DOES[line.does].row}</b>`}${
    appointment && html`<small>Appointment ${appointment}</small>`
  }${at && html`<small>${at}</small>`}</td>
<td>${line.why}${mends && mendOf(line) && html`<small>${mendOf(line)}</small>`}</td></tr>
`
}
