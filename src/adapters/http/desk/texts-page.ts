import { z } from 'zod'
import { badInput } from '../../../domain/failure.ts'
import { dateIn } from '../../../domain/rebook/choose.ts'
import type { TextLibrary } from '../../../domain/texts/library.ts'
import { languageOf } from '../../../domain/texts/render.ts'
import { surveyTexts, type SurveyRow, type SurveySite } from '../../../domain/texts/survey.ts'
import { loadPageTexts } from '../../templates/load-page.ts'
import { loadTexts } from '../../templates/load-texts.ts'
import { approve } from '../../templates/write-approvals.ts'
import { renderContactSheet } from '../pages/contact-sheet.ts'
import { Html, html } from '../pages/html.ts'
import { field, type Answer, type Desk, type PageContent, type Sheet } from './page.ts'

/** Texts with their survey, read anew after an approval: the survey takes longer than a page may. */
interface Shelf {
  library: TextLibrary
  rows: SurveyRow[]
}

const approval = z.object({
  language: z.string().min(2).max(10),
  by: z.string().trim().min(3, 'Give the role of whoever read them, e.g. “Nurse educator, French”.').max(80),
  kind: z.string().max(40),
})

/** The texts in every language: what they cost, how they read, whether they are approved. @param approveIn records an approval */
export function mountTexts(desk: Desk, approveIn: typeof approve = approve): void {
  let shelf: Promise<Shelf> | null = null
  const current = (sheet: Sheet) => (shelf ??= Promise.resolve(takeDown(sheet)))
  desk.get('texts', async (sheet) => texts(sheet, await current(sheet), null))
  desk.raw('texts/sheet', async (sheet) => contactSheet(sheet, await current(sheet)))
  desk.post('texts', async (sheet) => {
    const answer = await record(sheet, approveIn)
    if ('to' in answer) shelf = null
    return 'to' in answer ? answer : { status: 422, page: texts(sheet, await current(sheet), answer.fault) }
  })
}

function takeDown(sheet: Sheet): Shelf {
  const library = loadTexts()
  return { library, rows: surveyTexts(library, siteOf(sheet)) }
}

/** The clinic's own name and number, and an address as long as real ones. */
function siteOf({ clinic, deps }: Sheet): SurveySite {
  const answers: SurveySite['answers'] = {}
  for (const protocol of deps.protocols.values()) {
    for (const [language, { sentence }] of Object.values(protocol.answers).flatMap((byLanguage) => Object.entries(byLanguage))) (answers[language] ??= []).push(sentence)
  }
  return { clinic: clinic.name, clinicPhone: clinic.phone, page: deps.pageOf(deps.newId('b'), clinic.phone), answers }
}

function texts(sheet: Sheet, { library, rows }: Shelf, fault: string | null): PageContent {
  return {
    title: 'Texts',
    here: 'texts',
    rules: true,
    body: html`<p>Drafts are not sent in production. An approval holds for the very words: change one, and that text is a draft again.</p>
<table class="ledger plain-table"><caption class="unseen">Texts by language</caption>
<thead><tr><th scope="col">Language</th><th scope="col">Texts</th><th scope="col">Drafts</th><th scope="col">Longest</th><th scope="col">Hardest to read</th><th scope="col">Over budget</th></tr></thead>
<tbody>${[...library.languages.values()].map(({ code, name, locale }) => languageRow(sheet, code, html`<span lang="${locale}">${name}</span>`, rows.filter(({ language }) => language === code)))}</tbody></table>
${sheet.may('texts:write') && approveForm(sheet, library, fault)}`,
  }
}

function languageRow(sheet: Sheet, code: string, name: Html, rows: readonly SurveyRow[]): Html {
  const drafts = rows.filter(({ state }) => state === 'draft').length
  const over = rows.filter(({ overBudget }) => overBudget !== null).length
  const longest = Math.max(...rows.map(({ segments }) => segments))
  const grades = rows.flatMap(({ grade, channel }) => (grade === null || channel !== 'sms' ? [] : grade))
  return html`<tr><td><a href="${sheet.at(`texts/sheet?lang=${code}`)}">${name}</a></td><td>${rows.length}</td><td>${drafts === 0 ? 'None' : html`<b class="act">${drafts}</b>`}</td><td>${longest} ${longest === 1 ? 'segment' : 'segments'}</td><td>${grades.length > 0 ? `Grade ${Math.max(...grades).toFixed(1)}` : 'No formula'}</td><td>${over === 0 ? 'None' : html`<b class="act">${over}</b>`}</td></tr>
`
}

function approveForm(sheet: Sheet, library: TextLibrary, fault: string | null): Html {
  return html`<section aria-labelledby="approve-h"><h2 id="approve-h">Approve what you have read</h2>
<form class="chooser" method="post" action="${sheet.at('texts')}">
<div class="field"><label for="a-language">Language</label><select id="a-language" name="language">${[...library.languages.values()].map(({ code, name }) => html`<option value="${code}">${name}</option>`)}</select></div>
<div class="field"><label for="a-kind">Only this kind</label><input id="a-kind" name="kind" maxlength="40" placeholder="all" autocomplete="off"></div>
<div class="field"><label for="a-by">Your role</label><input id="a-by" name="by" maxlength="80" autocomplete="off" value="${field(sheet, 'by')}"${fault && html` aria-invalid="true" aria-describedby="a-fault" autofocus`}>${fault && html`<span class="fault" id="a-fault">${fault}</span>`}</div>
<label class="plain"><input type="checkbox" name="read" value="yes">I have read every one of them on the contact sheet</label>
<button class="main">Approve</button></form></section>`
}

async function record(sheet: Sheet, approveIn: typeof approve): Promise<Extract<Answer, { to: string }> | { fault: string }> {
  const read = approval.safeParse({ language: field(sheet, 'language'), by: field(sheet, 'by'), kind: field(sheet, 'kind') })
  if (!read.success) return { fault: read.error.issues[0]!.message }
  if (field(sheet, 'read') !== 'yes') return { fault: 'Read the contact sheet first, and say so.' }
  const { language, by, kind } = read.data
  try {
    approveIn(language, { by, on: dateIn(sheet.now, sheet.clinic.zone) }, kind === '' ? '' : `${kind}.`)
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EROFS' || (error as NodeJS.ErrnoException).code === 'EACCES') badInput('by', 'The folder of texts cannot be written here. Approve with `npx daysix texts` where it can.')
    throw error
  }
  return { to: sheet.at('texts?said=texts-approved') }
}

function contactSheet(sheet: Sheet, { library, rows }: Shelf): Html {
  const language = languageOf(library, (sheet.query.lang ?? 'en').slice(0, 10))
  const wanted = rows.filter((row) => row.language === language.code || row.language === 'en')
  const text = renderContactSheet({ language, languages: [...library.languages.values()], rows: wanted, protocols: sheet.deps.protocols.values(), pages: loadPageTexts(), path: sheet.at('texts/sheet') })
  return new Html(text)
}
