import { grantOf, refuseMoreThanOwn } from '../../../domain/access/grant.ts'
import { ROLES, TIED_TO_CLINIC, type Role } from '../../../domain/access/roles.ts'
import { Failure } from '../../../domain/failure.ts'
import type { Person } from '../../../flows/ports/access.ts'
import { disable, invite, refuseOverOthers, reinvite } from '../../sign-in/people.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import { field } from '../desk/page.ts'
import { html, type Html } from '../pages/html.ts'
import { faultSummary, inputField, selectField, type Choices, type Faults } from './form-fields.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountPeople(pages: SettingsPages): void {
  pages.get('people', (sheet) => peoplePage(sheet, {}))
  pages.post('people', add)
  pages.post('people/code', newCode)
  pages.post('people/out', shutOut)
}

export const ROLE_WORDS: Record<Role, string> = {
  desk: 'Front desk: books, calls, reads replies',
  clinician: 'Clinician: the day sheet',
  educator: 'Educator: figures without names',
  administrator: 'Administrator: everything',
}

async function peoplePage(sheet: SettingsContext, faults: Faults, status = 422): Promise<Answer> {
  const people = await sheet.deps.access.read.persons.list()
  const page: PageContent = {
    title: 'People',
    here: 'people',
    body: html`${faultSummary(faults, 'Nothing was changed.')}
<table class="ledger plain-table"><caption class="unseen">Everybody who may sign in</caption>
<thead><tr><th scope="col">Name</th><th scope="col">May</th><th scope="col">Clinic</th><th scope="col">State</th>
<th scope="col">Change</th></tr></thead>
<tbody>${people.map((person) => personRow(sheet, person))}</tbody></table>
${addForm(sheet, faults)}`,
  }
  return Object.keys(faults).length > 0 ? { status, page } : page
}

function personRow(sheet: SettingsContext, person: Person): Html {
  const { name, login, role, clinicId, clinician, disabledAt } = person
  const clinic = sheet.clinics.find(({ id }) => id === clinicId)?.name ?? clinicId
  const isOneself = person.id === sheet.who.id
  return html`<tr><td><b>${name}</b> <small>${login}</small></td><td>${ROLE_WORDS[role]}</td>
<td>${clinic ?? 'All'}${clinician !== null && html` <small>list of ${clinician}</small>`}</td>
<td>${stateOf(person, sheet)}</td>
<td>${isOneself ? html`You. <a href="/account">Your account</a>` : disabledAt === null && personForms(person)}</td></tr>
`
}

/** Behind a second press, since a code ends what somebody is doing, and shutting out cannot be undone. */
function personForms({ login, name }: Person): Html {
  return html`<details><summary>Change <span class="unseen">${name}</span></summary>
<form method="post" action="/settings/people/code"><input type="hidden" name="login" value="${login}">
<button>New one-time code</button> <small>ends the password and all sessions</small></form>
<form method="post" action="/settings/people/out"><input type="hidden" name="login" value="${login}">
<button>Shut out</button> <small>for good</small></form></details>`
}

function stateOf({ disabledAt, passwordHash, subject, codeUntil }: Person, sheet: SettingsContext): string {
  const { now, zone, dayAndClock } = sheet
  if (disabledAt) return `Shut out since ${dayAndClock(disabledAt, zone)}`
  if (passwordHash !== null || subject !== null) return 'May sign in'
  const isCodeGood = codeUntil !== null && codeUntil > now
  return `Never signed in; the one-time code ${isCodeGood ? `is good until ${dayAndClock(codeUntil, zone)}` : 'has run out'}`
}

function addForm(sheet: SettingsContext, faults: Faults): Html {
  const shown = (name: string, label: string, hint?: string) => ({
    ...{ name, label, value: field(sheet, name) },
    ...(hint !== undefined && { hint }),
  })
  const input = (name: string, label: string, hint: string, maxlength: string) =>
    inputField(faults, { ...shown(name, label, hint), attributes: { maxlength } })
  const clinics: Choices = [['', 'All clinics'], ...sheet.clinics.map(({ id, name }) => [id, name] as const)]
  const list = 'As it is called in the openings; without it, every list of the clinic.'
  return html`<section aria-labelledby="add-h"><h2 id="add-h">Add somebody</h2>
<form class="settings-form" method="post" action="/settings/people" novalidate>
${input('name', 'Name', 'As colleagues read it.', '120')}
${input('login', 'Signs in as', 'Letters, digits, dots and dashes.', '64')}
${selectField(
  faults,
  { ...shown('role', 'May'), value: field(sheet, 'role') || 'desk' },
  ROLES.map((role) => [role, ROLE_WORDS[role]]),
)}
${selectField(faults, shown('clinic', 'Clinic', 'The desk and clinicians work at one.'), clinics)}
${input('clinician', 'A clinician’s own list', list, '80')}
<button class="main">Add, and show the one-time code</button></form></section>`
}

async function add(sheet: SettingsContext): Promise<Answer> {
  const [name, login, role, clinic] = ['name', 'login', 'role', 'clinic'].map((each) =>
    field(sheet, each).slice(0, 120),
  )
  const faults: Faults = {}
  if (name === '') faults.name = 'Write the name, as colleagues read it.'
  if (!ROLES.includes(role as Role)) faults.role = 'Choose what this person may do.'
  const isTied = TIED_TO_CLINIC.includes(role as Role)
  if (isTied && !sheet.clinics.some(({ id }) => id === clinic)) faults.clinic = 'Say at which clinic this person works.'
  if (Object.keys(faults).length > 0) return peoplePage(sheet, faults)
  const clinician = role === 'clinician' ? field(sheet, 'clinician').slice(0, 80) || null : null
  const who = { name: name!, login: login!, role: role as Role, clinicId: clinic || null, clinician, subject: null }
  return withFaults(sheet, async () => {
    refuseMoreThanOwn(sheet.who, grantOf(who.role, who.clinicId))
    const { person, code } = await invite(sheet.deps, who, sheet.who)
    return codePage(sheet, person.login, code)
  })
}

function newCode(sheet: SettingsContext): Promise<Answer> {
  const login = field(sheet, 'login')
  return withFaults(sheet, async () => {
    await refuseOverOthers(sheet.deps, sheet.who, login)
    return codePage(sheet, login, await reinvite(sheet.deps, login, sheet.who))
  })
}

function shutOut(sheet: SettingsContext): Promise<Answer> {
  return withFaults(sheet, async () => {
    await disable(sheet.deps, field(sheet, 'login'), sheet.who)
    return { to: '/settings/people?said=person-out' }
  })
}

async function withFaults(sheet: SettingsContext, work: () => Promise<Answer>): Promise<Answer> {
  try {
    return await work()
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    const status = error.code === 'bad-input' ? 422 : 409
    return peoplePage(sheet, { [error.detail.field ?? 'login']: error.detail.message }, status)
  }
}

/** Shown in the answer itself, once: it stands in no address, and nothing keeps it. */
function codePage({ origin }: SettingsContext, login: string, code: string): PageContent {
  return {
    title: 'One-time code',
    here: 'people',
    body: html`<p>Give this to the person who signs in as <b>${login}</b>, by a way that nobody else reads. It is shown
once, works once, and is good for a day.</p>
<dl class="facts"><div><dt>One-time code</dt><dd><code class="secret">${code}</code></dd></div>
<div><dt>To be typed at</dt><dd class="address">${origin}/sign-in/first</dd></div></dl>
<p><a href="/settings/people">Back to people</a></p>`,
  }
}
