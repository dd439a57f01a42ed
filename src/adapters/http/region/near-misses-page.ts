import { Failure } from '../../../domain/failure.ts'
import { dateIn, withOffset } from '../../../domain/local-time.ts'
import {
  NEAR_MISS_KIND_NAMES,
  NEAR_MISS_KINDS,
  NEAR_MISS_REACH,
  NEAR_MISS_REACH_NAMES,
  type NearMiss,
  type NearMissKind,
  type NearMissReach,
} from '../../../domain/region/near-miss.ts'
import { recordNearMiss, reviewNearMiss } from '../../../flows/region/near-misses.ts'
import { commaSeparated } from '../../comma-separated.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, Download, PageContent, PageContext } from '../desk/page-context.ts'
import { typedClock } from '../desk/when.ts'
import { html, type Html } from '../pages/html.ts'
import { faultSummary, inputField, selectField, textField, type Faults } from '../settings/form-fields.ts'
import { allNearMisses, nearMissesBefore } from './near-miss-pages.ts'

const ON_A_PAGE = 50

export function mountNearMisses(desk: Desk): void {
  desk.get('near-misses', (sheet) => page(sheet, {}))
  desk.post('near-misses', record)
  desk.get('near-misses/file', nearMissFile)
  desk.post('near-misses/:id/review', review)
}

/** What went wrong or nearly did at this clinic, latest first; and a form to tell of more. */
async function page(sheet: PageContext, faults: Faults): Promise<PageContent> {
  const { deps, clinic, query } = sheet
  const { shown, next } = await nearMissesBefore(deps, { clinicId: clinic.id, cursor: query.before, limit: ON_A_PAGE })
  return {
    title: 'Near misses',
    here: 'near-misses',
    body: html`<p>What went wrong here, or nearly did, and what was changed. It is kept to learn from, not to blame, and holds no patient's name: it stays when everything about a patient is erased. Where somebody was harmed, the clinic's own procedure and the law come first.</p>
${sheet.may('near-misses:write') && recordForm(sheet, faults)}
${shown.length === 0 ? html`<p class="empty">Nothing is recorded.</p>` : table(sheet, shown, faults)}
${next && html`<p><a href="${sheet.at(`near-misses?before=${next}`)}">Older ones</a></p>`}
<p><a class="button" href="${sheet.at('near-misses/file')}">Take all of it away, for a spreadsheet</a></p>`,
  }
}

function recordForm(sheet: PageContext, all: Faults): Html {
  const faults = Object.fromEntries(Object.entries(all).filter(([name]) => !name.startsWith('change-')))
  const { clinic, now } = sheet
  const typed = (name: string, usual = '') => field(sheet, name) || usual
  const kinds = NEAR_MISS_KIND_NAMES.map((name) => [name, NEAR_MISS_KINDS[name]] as const)
  const reaches = NEAR_MISS_REACH_NAMES.map((name) => [name, NEAR_MISS_REACH[name]] as const)
  return html`<details class="series"${Object.keys(faults).length > 0 && html` open`}><summary>Tell of one</summary>
${faultSummary(faults, 'Nothing is kept yet.')}
<form method="post" action="${sheet.at('near-misses')}" novalidate>
<div class="line">${inputField(faults, { name: 'date', label: 'Day', value: typed('date', dateIn(now, clinic.zone)), attributes: { type: 'date' } })}${inputField(
    faults,
    {
      name: 'time',
      label: 'Time, about',
      value: typed('time', typedClock(now, clinic.zone)),
      attributes: { type: 'time' },
    },
  )}${selectField(faults, { name: 'kind', label: 'What kind', value: typed('kind') }, [['', 'Choose'], ...kinds])}${selectField(faults, { name: 'reach', label: 'How far it came', value: typed('reach') }, [['', 'Choose'], ...reaches])}</div>
${textField(faults, { name: 'words', label: 'What happened', hint: 'No names, numbers or dates of birth.', value: typed('words') })}
${textField(faults, { name: 'told', label: 'Who was called or told, and what was done at once', hint: 'Say who by their task: the patient, the clinician, the laboratory.', value: typed('told') })}
<button class="main">Record it</button></form></details>`
}

function table(sheet: PageContext, shown: readonly NearMiss[], faults: Faults): Html {
  return html`<table class="ledger replies"><caption class="unseen">Near misses, latest first</caption>
<thead><tr><th scope="col">When</th><th scope="col">What</th><th scope="col">Called or told</th><th
  scope="col">Changed since</th></tr></thead>
<tbody>${shown.map((each) => row(sheet, each, faults))}</tbody></table>`
}

function row(sheet: PageContext, nearMiss: NearMiss, faults: Faults): Html {
  const { happenedAt, kind, reach, words, told, by } = nearMiss
  return html`<tr><td class="time"><time datetime="${happenedAt.toISOString()}">${sheet.dayAndClock(happenedAt, sheet.clinic.zone)}</time><small>${dateIn(happenedAt, sheet.clinic.zone)}</small></td>
<td><b>${NEAR_MISS_KINDS[kind]}</b><small${reach === 'harmed' && html` class="act"`}>${NEAR_MISS_REACH[reach]}</small><p>${words}</p><small>told by ${by}</small></td>
<td>${told === '' ? 'Nobody' : told}</td>
<td>${reviewed(sheet, nearMiss, faults)}</td></tr>
`
}

function reviewed(sheet: PageContext, { id, review: done }: NearMiss, faults: Faults): Html {
  if (done) return html`${done.change}<small>${done.by}, ${sheet.dayAndClock(done.at, sheet.clinic.zone)}</small>`
  if (!sheet.may('near-misses:write')) return html`<b class="act">Not looked into yet</b>`
  const name = `change-${id}`
  return html`<b class="act">Not looked into yet</b>
<form method="post" action="${sheet.at(`near-misses/${id}/review`)}" novalidate>
${textField(faults, { name, label: 'What was changed', value: field(sheet, name) })}<button>Record the change</button></form>`
}

const isOne = <T extends string>(names: readonly T[], value: string): value is T => names.includes(value as T)

async function record(sheet: PageContext): Promise<Answer> {
  const one = (name: string) => field(sheet, name)
  const [kind, reach] = [one('kind'), one('reach')]
  const faults: Faults = {
    ...(one('date') === '' && { date: 'Give the day.' }),
    ...(one('time') === '' && { time: 'Give the time, about.' }),
    ...(!isOne<NearMissKind>(NEAR_MISS_KIND_NAMES, kind) && { kind: 'Choose what kind it was.' }),
    ...(!isOne<NearMissReach>(NEAR_MISS_REACH_NAMES, reach) && { reach: 'Choose how far it came.' }),
    ...(one('words') === '' && { words: 'Say what happened, without names.' }),
  }
  if (Object.keys(faults).length > 0) return { status: 422, page: await page(sheet, faults) }
  return unlessFaulty(sheet, { happened: 'date' }, async () => {
    const happened = `${one('date')}T${one('time')}`
    const told = { words: one('words'), told: one('told'), by: sheet.who.name }
    await recordNearMiss(sheet.deps, {
      ...{ clinic: sheet.clinic.id, happened, ...told },
      ...{ kind: kind as NearMissKind, reach: reach as NearMissReach },
    })
    return { to: sheet.at('near-misses?said=near-miss-recorded') }
  })
}

async function review(sheet: PageContext): Promise<Answer> {
  const id = sheet.params.id!
  const name = `change-${id}`
  return unlessFaulty(sheet, { change: name }, async () => {
    await reviewNearMiss(sheet.deps, { id, change: field(sheet, name), by: sheet.who.name })
    return { to: sheet.at('near-misses?said=near-miss-reviewed') }
  })
}

/**
 * What was typed stays on the page, with the fault beside its field.
 * @param called fields by another name on the page
 */
async function unlessFaulty(
  sheet: PageContext,
  called: Record<string, string>,
  work: () => Promise<Answer>,
): Promise<Answer> {
  try {
    return await work()
  } catch (error) {
    if (!(error instanceof Failure && error.code === 'bad-input' && error.detail.field !== undefined)) throw error
    const name = called[error.detail.field] ?? error.detail.field
    return { status: 422, page: await page(sheet, { [name]: error.detail.message }) }
  }
}

async function nearMissFile({ deps, clinic }: PageContext): Promise<Download> {
  const header = ['happened', 'kind', 'how far', 'what happened', 'called or told', 'told by', 'recorded', 'changed']
  const rows = (await allNearMisses(deps, clinic.id)).map((each) => [
    withOffset(each.happenedAt, clinic.zone),
    NEAR_MISS_KINDS[each.kind],
    NEAR_MISS_REACH[each.reach],
    ...[each.words, each.told, each.by, withOffset(each.recordedAt, clinic.zone)],
    each.review ? `${each.review.change} (${each.review.by}, ${withOffset(each.review.at, clinic.zone)})` : '',
  ])
  const content = commaSeparated([header, ...rows])
  return { file: `near-misses-${clinic.id}.csv`, type: 'text/csv; charset=utf-8', content, shows: [] }
}
