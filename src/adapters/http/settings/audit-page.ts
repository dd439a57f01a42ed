import { DateTime } from 'luxon'
import { findingWords, verifyAudit, type AuditVerdict } from '../../../flows/access/verify-audit.ts'
import type { AuditQuery, ChainedEntry } from '../../../flows/ports/access.ts'
import type { PageContent } from '../desk/page-context.ts'
import { dateOr } from '../desk/when.ts'
import { html, type Html } from '../pages/html.ts'
import { inZone } from '../../../domain/local-time.ts'
import { whatWords } from './audit-words.ts'
import { inputField, selectField, type Choices } from './form-fields.ts'
import { asked, type SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

/** Entries on one page. */
const PAGE = 100
/** As many as one press checks: some seconds of work. The command checks all. */
const MOST_CHECKED = 50_000
/** Noted heads that one press reads: of some three months. */
const MOST_NOTES = 2_000
/** As many of what an entry is about are named. */
const MOST_NAMED = 6

export function mountAudit(pages: SettingsPages): void {
  pages.get('audit', (sheet) => auditPage(sheet, null))
  pages.post('audit', async (sheet) => {
    const { access, headNotes } = sheet.deps
    const notes = await headNotes.read(MOST_NOTES)
    return auditPage(sheet, await verifyAudit(access, { notes, newest: MOST_CHECKED }))
  })
}

async function auditPage(sheet: SettingsContext, verdict: AuditVerdict | null): Promise<PageContent> {
  const { access } = sheet.deps
  const [entries, actors] = await Promise.all([access.read.audit.list(queryOf(sheet)), actorsOf(sheet)])
  return {
    title: 'Record',
    here: 'audit',
    body: html`${verdict && verdictPart(verdict)}
<p>Who saw and changed what, newest first. To look here is recorded too. Days begin at midnight in
${sheet.zone.replaceAll('_', ' ')}.</p>
${searchForm(sheet, actors)}
${entries.length === 0 ? html`<p class="empty">No entry fits.</p>` : entryTable(sheet, entries, new Map(actors))}
${pager(sheet, entries)}
<form method="post" action="/settings/audit"><button>Check the record</button> <small>that nothing was changed or taken
out</small></form>`,
  }
}

/** Days as they are meant where the clinics are. */
function queryOf(sheet: SettingsContext): AuditQuery {
  const midnight = (date: string, days: number) =>
    DateTime.fromISO(date, { zone: sheet.zone }).startOf('day').plus({ days }).toJSDate()
  const [from, to] = [dateOr(asked(sheet, 'from'), ''), dateOr(asked(sheet, 'to'), '')]
  const [actor, subject, before] = ['actor', 'subject', 'before'].map((name) => asked(sheet, name))
  return {
    ...(actor && { actorId: actor }),
    ...(subject && { subject }),
    ...(from && { from: midnight(from, 0) }),
    ...(to && { to: midnight(to, 1) }),
    ...(before && /^\d{1,15}$/.test(before) && { before: Number(before) }),
    limit: PAGE,
  }
}

/** Everybody who may stand in the record, by id, with names. */
async function actorsOf({ deps }: SettingsContext): Promise<Choices> {
  const { persons, apiKeys } = deps.access.read
  const [people, keys] = await Promise.all([persons.list(), apiKeys.list()])
  return [
    ...people.map(({ id, name }) => [id, name] as const),
    ...keys.map(({ id, name }) => [id, `Key: ${name}`] as const),
    ['environment', 'The key of the environment'],
    ['command', 'The command line'],
    ['retention', 'Clearing by itself'],
    ['start', 'The service, as it started'],
    ['local', 'This machine, not signed in'],
  ]
}

function searchForm(sheet: SettingsContext, actors: Choices): Html {
  const value = (name: string) => asked(sheet, name)
  const date = (name: string) => ({ value: dateOr(value(name), ''), attributes: { type: 'date' } })
  const subject = {
    ...{ name: 'subject', label: 'About (id of a patient, visit, person …)', value: value('subject') },
    attributes: { maxlength: '64', size: '22' },
  }
  return html`<form class="chooser" method="get" action="/settings/audit" role="search">
${selectField({}, { name: 'actor', label: 'Who', value: value('actor') }, [['', 'Everybody'], ...actors])}
${inputField({}, subject)}
${inputField({}, { name: 'from', label: 'From', ...date('from') })}
${inputField({}, { name: 'to', label: 'Until, inclusive', ...date('to') })}
<button class="main">Search</button></form>`
}

const COLUMNS = ['No.', 'When', 'Who', 'What', 'About', 'Clinic']

function entryTable(
  sheet: SettingsContext,
  entries: readonly ChainedEntry[],
  names: ReadonlyMap<string, string>,
): Html {
  return html`<table class="ledger plain-table record"><caption class="unseen">Entries</caption>
<thead><tr>${COLUMNS.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${entries.map((entry) => entryRow(sheet, entry, names))}</tbody></table>`
}

function entryRow(sheet: SettingsContext, entry: ChainedEntry, names: ReadonlyMap<string, string>): Html {
  const { seq, at, actorId, what, subjects, clinicId, facts } = entry
  const when = inZone(at, sheet.zone).setLocale('en').toFormat('ccc d LLL yyyy, HH:mm:ss')
  const about = subjects.slice(0, MOST_NAMED).map((id) => names.get(id) ?? html`<code>${id}</code>`)
  return html`<tr><td>${seq}</td><td>${when}</td><td>${names.get(actorId) ?? actorId}</td>
<td>${whatWords(what)}${facts.refused !== undefined && html` <b class="act">refused</b>`}<small>${what}</small></td>
<td>${about.map((each, index) => [index > 0 && ', ', each])}${subjects.length > MOST_NAMED && ` and ${subjects.length - MOST_NAMED} more`}</td>
<td>${sheet.clinics.find(({ id }) => id === clinicId)?.name ?? clinicId}</td></tr>
`
}

function pager(sheet: SettingsContext, entries: readonly ChainedEntry[]): Html | null {
  const kept = ['actor', 'subject', 'from', 'to'].flatMap((name) => {
    const value = asked(sheet, name)
    return value === '' ? [] : [`${name}=${encodeURIComponent(value)}`]
  })
  const at = (more: string[]) => `/settings/audit?${[...kept, ...more].join('&')}`
  const newest = asked(sheet, 'before') !== '' && html`<a href="${at([])}">Newest</a>`
  const older = entries.length === PAGE && html`<a href="${at([`before=${entries.at(-1)!.seq}`])}">Older</a>`
  return newest || older ? html`<p class="pager">${newest} ${older}</p>` : null
}

function verdictPart({ entries, from, head, notes, findings }: AuditVerdict): Html {
  if (findings.length > 0) {
    return html`<div class="faults" role="alert"><b>The record is not whole. Tell whoever runs the service, and keep a backup.</b>
<ul>${findings.slice(0, 20).map((finding) => html`<li>${findingWords(finding)}</li>`)}</ul></div>`
  }
  const all = from === null ? 'All' : `The newest ${entries.toLocaleString('en')}, from number ${from} on,`
  return html`<p class="note" role="status"><b>The record is whole.</b> ${all} ${from === null && `${entries.toLocaleString('en')} entries`}
follow each other unchanged, up to number ${head.seq}, ${notes === 0 ? 'but no head was noted here that they could be held against' : `and agree with ${notes === 1 ? 'the head' : `the ${notes.toLocaleString('en')} heads`} noted here`}.
Keep this mark elsewhere, so that nobody can cut off the end unnoticed:
<code class="address">${head.seq}:${head.hash}</code></p>`
}
