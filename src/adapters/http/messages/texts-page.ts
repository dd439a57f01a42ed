import * as z from 'zod'
import { dateIn } from '../../../domain/local-time.ts'
import { Failure } from '../../../domain/failure.ts'
import { languageOf } from '../../../domain/messages/texts/render.ts'
import { surveyTexts, type SurveyRow, type SurveySite } from '../../../domain/messages/texts/survey.ts'
import { approveTexts } from '../../../flows/messages/approved-texts.ts'
import type { Wording } from '../../templates/load-wording.ts'
import { maySettings } from '../settings/trial-band.ts'
import { renderContactSheet } from './contact-sheet.ts'
import { Html, html } from '../pages/html.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { countedTexts } from '../desk/words.ts'

const approval = z.object({
  language: z.string().min(2).max(10),
  by: z.string().trim().min(3, 'Give the role of whoever read them, e.g. “Nurse educator, French”.').max(80),
  kind: z.string().max(40),
})

/** The texts in every language: what they cost, how they read, whether they are approved. */
export function mountTexts(desk: Desk, wording: Wording): void {
  // Made once for each number for emergencies, which may be set at any time: it takes longer than a page may.
  const surveys = new Map<string | null, SurveyRow[]>()
  const rowsFor = (sheet: PageContext) => {
    const { emergency } = sheet.clinic.settings
    const rows = surveys.get(emergency) ?? surveyTexts(sheet.library, siteOf(sheet))
    surveys.set(emergency, rows)
    return rows
  }
  desk.get('texts', async (sheet) => texts(sheet, rowsFor(sheet), null))
  desk.raw('texts/sheet', async (sheet) => contactSheet(sheet, rowsFor(sheet), wording))
  desk.post('texts', async (sheet) => {
    const answer = await record(sheet)
    return 'to' in answer ? answer : { status: 422, page: texts(sheet, rowsFor(sheet), answer.fault) }
  })
}

/** The clinic's own name and number, and an address as long as real ones. */
function siteOf({ clinic, deps }: PageContext): SurveySite {
  const answers: SurveySite['answers'] = {}
  for (const { answers: topics } of deps.protocols.values()) {
    for (const [language, { sentence }] of Object.values(topics).flatMap((byLanguage) => Object.entries(byLanguage))) {
      ;(answers[language] ??= []).push(sentence)
    }
  }
  const { name, phone, settings } = clinic
  const page = deps.pageOf(deps.newId('b'), phone)
  return { clinic: name, clinicPhone: phone, emergency: settings.emergency, page, answers }
}

const COLUMNS = ['Language', 'Texts', 'Drafts', 'May be sent', 'Longest', 'Hardest to read', 'Over budget']

function texts(sheet: PageContext, rows: readonly SurveyRow[], fault: string | null): PageContent {
  const codes = [...sheet.library.languages.keys()]
  return {
    title: 'Texts',
    here: 'texts',
    rules: true,
    body: html`<p>Daysix comes with drafts only: your clinic approves what it sends. An approval holds for the very
words: change one, and that text is a draft again. A language may be sent when all of it
that patients may get is approved.</p>
<p>${emergencies(sheet)}</p>
<table class="ledger plain-table"><caption class="unseen">Texts by language</caption>
<thead><tr>${COLUMNS.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${codes.map((code) => languageRow(sheet, code, rows))}</tbody></table>
${sheet.may('texts:write') && approveForm(sheet, fault)}`,
  }
}

function emergencies({ clinic, who, may }: PageContext): Html | string {
  const { emergency } = clinic.settings
  if (emergency !== null) return `In an emergency the texts say to call ${emergency}.`
  const isTheirs = maySettings(who) && may('clinics:write')
  const link = html`<a href="/settings/clinics/${encodeURIComponent(clinic.id)}">Set it</a>`
  return html`In an emergency the texts speak of “your local emergency number”, since this clinic has set none. ${
    isTheirs ? link : 'An administrator can set it'
  }.`
}

function languageRow(
  { deps: { approvedTexts }, library, at }: PageContext,
  code: string,
  rows: readonly SurveyRow[],
): Html {
  const { name, locale } = library.languages.get(code)!
  const words = approvedTexts.reviewables.get(code)!
  const drafts = [...words].filter(([key, digest]) => !approvedTexts.approvals(code, key, digest)).length
  const sent = drafts === 0 ? 'Yes' : 'Yes, drafts marked'
  return html`<tr><td><a href="${at(`texts/sheet?lang=${code}`)}"><span lang="${locale}">${name}</span></a></td>
<td>${words.size}</td><td>${drafts === 0 ? 'None' : html`<b class="act">${drafts}</b>`}</td>
<td>${approvedTexts.sendable().includes(code) ? sent : html`<b class="act">No</b>`}</td>
${measured(rows.filter(({ language }) => language === code))}</tr>
`
}

function measured(rows: readonly SurveyRow[]): Html {
  const over = rows.filter(({ overBudget }) => overBudget !== null).length
  const longest = Math.max(...rows.map(({ segments }) => segments))
  const grades = rows.flatMap(({ grade, channel }) => (grade === null || channel !== 'sms' ? [] : grade))
  return html`<td>${countedTexts(longest)}</td>
<td>${grades.length > 0 ? `Grade ${Math.max(...grades).toFixed(1)}` : 'No formula'}</td>
<td>${over === 0 ? 'None' : html`<b class="act">${over}</b>`}</td>`
}

function approveForm(sheet: PageContext, fault: string | null): Html {
  const languages = [...sheet.library.languages.values()]
  const options = languages.map(({ code, name }) => html`<option value="${code}">${name}</option>`)
  const state = fault && html` aria-invalid="true" aria-describedby="a-fault" autofocus`
  return html`<section aria-labelledby="approve-h"><h2 id="approve-h">Approve what you have read</h2>
<form class="chooser" method="post" action="${sheet.at('texts')}">
<div class="field"><label for="a-language">Language</label>
<select id="a-language" name="language">${options}</select></div>
<div class="field"><label for="a-kind">Only this kind</label>
<input id="a-kind" name="kind" maxlength="40" placeholder="all" autocomplete="off"></div>
<div class="field"><label for="a-by">Your role</label>
<input id="a-by" name="by" maxlength="80" autocomplete="off" value="${field(sheet, 'by')}"${state}>
${fault && html`<span class="fault" id="a-fault">${fault}</span>`}</div>
<label class="plain"><input type="checkbox" name="read"
  value="yes">I have read every one of them on the contact sheet</label>
<button class="main">Approve</button></form></section>`
}

async function record(sheet: PageContext): Promise<Extract<Answer, { to: string }> | { fault: string }> {
  const read = approval.safeParse({
    language: field(sheet, 'language'),
    by: field(sheet, 'by'),
    kind: field(sheet, 'kind'),
  })
  if (!read.success) return { fault: read.error.issues[0]!.message }
  if (field(sheet, 'read') !== 'yes') return { fault: 'Read the contact sheet first, and say so.' }
  const { store, approvedTexts } = sheet.deps
  try {
    const review = { ...read.data, on: dateIn(sheet.now, sheet.clinic.zone) }
    await approveTexts(store, approvedTexts.reviewables, review, sheet.now)
  } catch (error) {
    if (error instanceof Failure && error.code === 'bad-input') return { fault: error.detail.message }
    throw error
  }
  await approvedTexts.refresh()
  return { to: sheet.at('texts?said=texts-approved') }
}

function contactSheet({ query, at, library, clinic }: PageContext, rows: readonly SurveyRow[], wording: Wording): Html {
  const language = languageOf(library, (query.lang ?? 'en').slice(0, 10))
  const wanted = rows.filter((row) => row.language === language.code || row.language === 'en')
  const { emergency } = clinic.settings
  return new Html(renderContactSheet({ language, rows: wanted, wording, emergency, path: at('texts/sheet') }))
}
