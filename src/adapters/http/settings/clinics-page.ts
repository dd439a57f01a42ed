import type { Clinic } from '../../../domain/region/clinic.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { reachesPeople, sendsToNobody } from '../../../flows/region/in-earnest.ts'
import { newClinicId, putClinic } from '../../../flows/region/put-clinic.ts'
import { USUAL_SETTINGS } from '../../../flows/region/first-clinic.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import { field } from '../desk/page.ts'
import { phoneWords } from '../desk/words.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import { CLINIC_GROUPS, type ClinicField, type ClinicGroup } from './clinic-fields.ts'
import { readClinic, shownOf, typedOf, type Typed } from './clinic-form.ts'
import { clinicPreview } from './clinic-preview.ts'
import { faultSummary, inputField, selectField, textField, type Choices, type Faults } from './form-fields.ts'
import { gatewayWords } from './gateways-page.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountClinics(pages: SettingsPages): void {
  pages.get('clinics', clinicsPage)
  pages.get('clinics/new', (sheet) => formPage(sheet, null, shownOf(blank(sheet)), {}))
  pages.post('clinics', (sheet) => keep(sheet, null))
  pages.get('clinics/:clinic', (sheet) => {
    const clinic = named(sheet)
    return formPage(sheet, clinic, shownOf(clinic), {}, clinicPreview(sheet, clinic))
  })
  pages.post('clinics/:clinic', (sheet) => keep(sheet, named(sheet)))
}

function named({ clinics, params }: SettingsContext): Clinic {
  return orNotFound(
    clinics.find(({ id }) => id === params.clinic),
    'clinic',
  )
}

/** A new clinic's usual rules; it is carried by what reaches people, where anything does. */
function blank({ deps, clinics }: SettingsContext): Omit<Clinic, 'id'> {
  const real = [...deps.gateways.keys()].find((name) => reachesPeople(deps, name))
  const { zone = 'America/Toronto', country = 'CA' } = clinics[0] ?? {}
  return {
    name: '',
    phone: '',
    zone,
    country,
    settings: { ...USUAL_SETTINGS, gateway: real ?? USUAL_SETTINGS.gateway },
  }
}

function clinicsPage({ clinics, deps }: SettingsContext): PageContent {
  const COLUMNS = ['Name', 'Telephone', 'Times', 'Emergency number', 'Carried by']
  return {
    title: 'Clinics',
    here: 'clinics',
    body: html`${
      clinics.length === 0
        ? html`<p class="empty">There is no clinic yet.</p>`
        : html`<table class="ledger plain-table"><caption class="unseen">Clinics</caption>
<thead><tr>${COLUMNS.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${clinics.map(
            (
              clinic,
            ) => html`<tr><td><a href="/settings/clinics/${encodeURIComponent(clinic.id)}">${clinic.name}</a></td>
<td>${phoneWords(clinic.phone)}${sendsToNobody(deps, clinic) && html` <small class="act">nobody answers there: it is set apart for fiction</small>`}</td>
<td>${clinic.zone.replaceAll('_', ' ')}</td><td>${clinic.settings.emergency ?? html`<b class="act">None</b>`}</td>
<td>${carrier(deps, clinic)}</td></tr>
`,
          )}</tbody></table>`
    }
<p><a class="button" href="/settings/clinics/new">Add a clinic</a></p>`,
  }
}

function carrier(deps: SettingsContext['deps'], { settings: { gateway } }: Clinic): Html | string {
  if (reachesPeople(deps, gateway)) return gateway
  const why = deps.gateways.has(gateway) ? 'simulated phones (trial)' : `“${gateway}” is not set up: nothing goes out`
  return html`<b class="act">${why}</b>`
}

/** Nothing is kept by a look. */
async function keep(sheet: SettingsContext, clinic: Clinic | null): Promise<Answer> {
  const typed = typedOf(sheet)
  const known = sheet.clinics.map(({ id }) => id)
  const id = clinic?.id ?? newClinicId(typed.name ?? '', known)
  const read = readClinic(sheet, id, typed)
  if ('faults' in read) return { status: 422, page: formPage(sheet, clinic, typed, read.faults) }
  if (field(sheet, 'do') === 'look') return formPage(sheet, clinic, typed, {}, clinicPreview(sheet, read.clinic))
  await putClinic(sheet.deps, read.clinic)
  return { to: `/settings/clinics/${encodeURIComponent(id)}?said=clinic-kept` }
}

function formPage(
  sheet: SettingsContext,
  clinic: Clinic | null,
  typed: Typed,
  faults: Faults,
  preview?: Html,
): PageContent {
  const action = clinic === null ? '/settings/clinics' : `/settings/clinics/${encodeURIComponent(clinic.id)}`
  return {
    title: clinic === null ? 'Add a clinic' : clinic.name,
    here: 'clinics',
    body: html`<form class="clinic-form" method="post" action="${action}" autocomplete="off" novalidate>
<button class="unseen" tabindex="-1" aria-hidden="true" name="do" value="keep">Save</button>
${faultSummary(faults, 'Nothing is saved yet.')}
${clinic !== null && sendsToNobody(sheet.deps, clinic) && fictionNote(clinic)}
${CLINIC_GROUPS.map((group) => groupPart(sheet, group, typed, faults))}
<p class="keep"><button class="main" name="do" value="keep">Save</button> <button name="do"
  value="look">Look first</button></p>
</form>${preview}`,
  }
}

function fictionNote({ phone }: Clinic): Html {
  return html`<p class="note">Patients are told to call ${phoneWords(phone)}, where nobody answers: the number is set apart
for fiction.</p>`
}

function groupPart(sheet: SettingsContext, { title, says, fields }: ClinicGroup, typed: Typed, faults: Faults): Html {
  return html`<fieldset><legend>${title}</legend>${says !== undefined && html`<p>${says}</p>`}
<div class="fields">${fields.map((each) => control(sheet, each, typed[each.path] ?? '', faults))}</div></fieldset>
`
}

function control(sheet: SettingsContext, each: ClinicField, value: string, faults: Faults): Child {
  const { path: name, label, means: hint, kind, maxLength, least, most } = each
  const shown = { name, label, value, ...(hint !== undefined && { hint }) }
  switch (kind) {
    case 'choice':
      return selectField(faults, shown, each.choices ?? choicesOf(sheet, name, value))
    case 'lines':
      return textField(faults, shown)
    case 'yes':
      return html`<div class="field"><label class="plain" for="${name}"><input type="checkbox" id="${name}" name="${name}"
  value="yes"${value === 'yes' && html` checked`} aria-describedby="${name}-hint">${label}</label><small
  id="${name}-hint">${hint}</small></div>`
    case 'time':
      return inputField(faults, { ...shown, attributes: { size: '6', placeholder: 'HH:MM', maxlength: '5' } })
    case 'number':
    case 'percent':
      return inputField(faults, {
        ...shown,
        attributes: { type: 'number', inputmode: 'numeric', min: String(least), max: String(most) },
      })
    case 'line':
      return inputField(faults, {
        ...shown,
        attributes: { maxlength: String(maxLength), size: String(maxLength! + 2) },
      })
  }
}

/** What there is to choose from here; what is set stays to be chosen, though it be gone. */
function choicesOf({ deps }: SettingsContext, path: string, value: string): Choices {
  const there: [string, string][] =
    path === 'zone'
      ? Intl.supportedValuesOf('timeZone').map((zone) => [zone, zone.replaceAll('_', ' ')])
      : [...deps.gateways.values()].map((gateway) => [gateway.name, gatewayWords(gateway)])
  const isThere = value === '' || there.some(([each]) => each === value)
  return isThere ? there : [[value, path === 'zone' ? value : `${value} (not set up)`], ...there]
}
