import { DateTime } from 'luxon'
import { refuseMoreThanOwn } from '../../../domain/access/grant.ts'
import { isPermission, PERMISSIONS } from '../../../domain/access/roles.ts'
import type { ApiKey } from '../../../flows/ports/access.ts'
import { makeApiKey, revokeApiKey } from '../../sign-in/api-keys.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import { field } from '../desk/page.ts'
import { age, dateOr, longDay } from '../desk/when.ts'
import { html, type Html } from '../pages/html.ts'
import { faultBeside, faultSummary, inputField, selectField, type Choices, type Faults } from './form-fields.ts'
import { ticked, type SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountKeys(pages: SettingsPages): void {
  pages.get('keys', (sheet) => keysPage(sheet, {}))
  pages.post('keys', make)
  pages.post('keys/revoke', async (sheet) => {
    await revokeApiKey(sheet.deps, field(sheet, 'key'), sheet.who)
    return { to: '/settings/keys?said=key-revoked' }
  })
}

async function keysPage(sheet: SettingsContext, faults: Faults): Promise<Answer> {
  const keys = await sheet.deps.access.read.apiKeys.list()
  const page: PageContent = {
    title: 'Keys for programs',
    here: 'keys',
    body: html`${faultSummary(faults, 'No key is made yet.')}
<p>Another program that books visits or reads figures signs in with a key. Give each program one of its own, which may do
no more than it needs.</p>
${keys.length === 0 ? html`<p class="empty">No key has been made here.</p>` : keyTable(sheet, keys)}
${makeForm(sheet, faults)}`,
  }
  return Object.keys(faults).length > 0 ? { status: 422, page } : page
}

const COLUMNS = ['Name', 'May', 'Clinic', 'Made', 'Last used', 'Ends', 'Change']

function keyTable(sheet: SettingsContext, keys: readonly ApiKey[]): Html {
  return html`<table class="ledger plain-table"><caption class="unseen">Keys</caption>
<thead><tr>${COLUMNS.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${keys.map((key) => keyRow(sheet, key))}</tbody></table>`
}

function keyRow({ clinics, zone, now }: SettingsContext, key: ApiKey): Html {
  const { id, name, may, clinicId, createdAt, usedAt, revokedAt } = key
  const clinic = clinics.find((each) => each.id === clinicId)?.name ?? clinicId
  return html`<tr><td><b>${name}</b></td><td>${may.map((each) => PERMISSIONS[each]).join('; ')}</td>
<td>${clinic ?? 'All'}</td><td>${longDay(createdAt, zone)}</td>
<td>${usedAt ? `${age(usedAt, now)} ago` : 'Never'}</td><td>${endOf(key, zone, now)}</td>
<td>${
    revokedAt === null &&
    html`<details><summary>Revoke <span class="unseen">${name}</span></summary><form method="post"
  action="/settings/keys/revoke"><input type="hidden" name="key" value="${id}"><button>Revoke for good</button></form></details>`
  }</td></tr>
`
}

function endOf({ revokedAt, expiresAt }: ApiKey, zone: string, now: Date): string {
  if (revokedAt) return `Revoked on ${longDay(revokedAt, zone)}`
  if (!expiresAt) return 'Does not end'
  return `${expiresAt <= now ? 'Ended on' : 'Good until'} ${longDay(expiresAt, zone)}`
}

function makeForm(sheet: SettingsContext, faults: Faults): Html {
  const chosen = ticked(sheet, 'may')
  const clinics: Choices = [['', 'All clinics'], ...sheet.clinics.map(({ id, name }) => [id, name] as const)]
  const boxes = Object.entries(PERMISSIONS).map(
    ([name, words]) => html`<label class="plain"><input type="checkbox" name="may"
  value="${name}"${chosen.includes(name) && html` checked`}>${words}</label>\n`,
  )
  const shown = (name: string, label: string) => ({ name, label, value: field(sheet, name) })
  const hint = 'Without one it does not end.'
  return html`<section aria-labelledby="make-h"><h2 id="make-h">Make a key</h2>
<form class="settings-form" method="post" action="/settings/keys" novalidate>
${inputField(faults, { ...shown('name', 'For which program'), attributes: { maxlength: '120' } })}
${selectField(faults, shown('clinic', 'Clinic'), clinics)}
${inputField(faults, { ...shown('ends', 'Last day'), hint, attributes: { type: 'date' } })}
<fieldset id="may" class="wide"><legend>It may</legend>${faultBeside(faults, 'may')}<div class="boxes">${boxes}</div></fieldset>
<button class="main">Make the key, and show it once</button></form></section>`
}

async function make(sheet: SettingsContext): Promise<Answer> {
  const faults: Faults = {}
  const [name, clinic] = [field(sheet, 'name').slice(0, 120), field(sheet, 'clinic')]
  const may = ticked(sheet, 'may').filter(isPermission)
  const expiresAt = endsAt(sheet, faults)
  if (name === '') faults.name = 'Name the program, so that its key is known again.'
  if (clinic !== '' && !sheet.clinics.some(({ id }) => id === clinic)) faults.clinic = 'There is no such clinic.'
  if (may.length === 0) faults.may = 'Say what it may do: a key that may do nothing opens nothing.'
  if (Object.keys(faults).length > 0) return keysPage(sheet, faults)
  refuseMoreThanOwn(sheet.who, { may, clinicId: clinic || null })
  const made = await makeApiKey(sheet.deps, { name, may, clinicId: clinic || null, expiresAt }, sheet.who)
  return secretPage(name, made.secret)
}

/** Midnight that ends the day; none where none is given. */
function endsAt(sheet: SettingsContext, faults: Faults): Date | null {
  const written = field(sheet, 'ends')
  if (written === '') return null
  const day = dateOr(written, '')
  const end = DateTime.fromISO(day, { zone: sheet.zone }).endOf('day')
  if (!end.isValid || end.toJSDate() <= sheet.now) faults.ends = 'Give a day to come, as YYYY-MM-DD, or none.'
  return end.isValid ? end.toJSDate() : null
}

/** Shown in the answer itself, once: it stands in no address, and nothing keeps it. */
function secretPage(name: string, secret: string): PageContent {
  return {
    title: 'The key',
    here: 'keys',
    body: html`<p>The key of <b>${name}</b>. Copy it now: it is shown once and kept nowhere. The program sends it with each
request as <code>Authorization: Bearer</code> and the key. Whoever has it may do what it may: never send it by e-mail.</p>
<dl class="facts"><div><dt>Key</dt><dd><code class="secret address">${secret}</code></dd></div></dl>
<p><a href="/settings/keys">Back to the keys</a></p>`,
  }
}
