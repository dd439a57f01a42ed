import { languagesOnOffer } from '../../../flows/messages/approved-texts.ts'
import type { Preview } from '../../../flows/visits/preview-visit.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import { CONSENT_WORDING, type BookFields, type Faults } from './book-fields.ts'
import { looker, lookPanel, textsPanel, type Look } from './book-look.ts'
import type { PageContext } from '../desk/page.ts'

export interface BookForm {
  sheet: PageContext
  fields: BookFields
  faults: Faults
  look: Look | null
  /** Where the keyboard should be. */
  focus: keyof BookFields
}

const LABELS: Partial<Record<keyof BookFields, string>> = {
  phone: 'Telephone', name: 'Name', lmp: 'First day of the last period', sure: 'How sure', usual: 'Usual cycle, days', date: 'Date of the visit', time: 'Time', protocol: 'Specimen',
} // prettier-ignore

/** The whole form. Its first button is the one that Enter presses, in whatever field the clerk is. */
export function bookForm(form: BookForm): Html {
  const { sheet, fields, faults, look } = form
  return html`<form id="booking" class="book" method="post" action="${sheet.at('book')}" autocomplete="off" novalidate>
<button class="unseen" tabindex="-1" aria-hidden="true">Book the visit</button>
<input type="hidden" name="key" value="${fields.key}">
${Object.keys(faults).length > 0 && summary(faults)}
<fieldset class="f-who"><legend>Caller</legend>
${input(form, 'phone', { type: 'tel', autocomplete: 'off', size: '18' })}
${input(form, 'name', { type: 'text', autocomplete: 'off', maxlength: '120' })}
</fieldset>
<fieldset class="f-cycle"><legend>Last period</legend>
${input(form, 'lmp', { type: 'date' })}
${select(form, 'sure', [['0', 'Sure'], ['2', 'Within 2 days'], ['5', 'Within 5 days'], ['unknown', 'Not known'], ['no-periods', 'No periods']])}
${input(form, 'usual', { type: 'number', min: '15', max: '90', inputmode: 'numeric' }, 'If known')}
</fieldset>
${looker(form)}${lookPanel(form, look)}
<fieldset class="f-visit"><legend>Visit</legend>
${input(form, 'date', { type: 'date' })}
${input(form, 'time', { type: 'time', step: '300' })}
${input(form, 'clinician', { type: 'text', autocomplete: 'off', maxlength: '80' }, 'Where several collect at once', 'Clinician or room')}
${select(form, 'protocol', [...sheet.deps.protocols.values()].map(({ id, names }) => [id, names.en!]))}
</fieldset>
<fieldset class="f-messages"><legend>Messages</legend>
<div class="field wide"><p class="read-out" id="wording">Read out: “${CONSENT_WORDING}”</p>
<label class="plain"><input type="checkbox" id="consent" name="consent" value="yes" aria-describedby="wording"${fields.consent === 'yes' && html` checked`}${form.focus === 'consent' && html` autofocus`}>The patient agreed</label></div>
${select(form, 'language', languages(sheet), 'Language')}
${select(form, 'channel', [['sms', 'Text'], ['voice', 'Call']], 'By')}
${select(form, 'detail', [['full', 'Name the preparation'], ['discreet', 'Discreet: name neither test nor reason']], 'How open')}
</fieldset>
<p class="f-book"><button class="main">Book the visit</button> <button class="look" formaction="${sheet.at('book/look')}">Look again</button></p>
${textsPanel(sheet, look?.preview ?? null, fields)}
</form>`
}

/** Those whose texts may be sent. */
function languages({ deps, library }: PageContext): [value: string, words: string][] {
  return languagesOnOffer(deps.approvedTexts).map((code) => [code, library.languages.get(code)!.name])
}

function summary(faults: Faults): Html {
  const entries = Object.entries(faults)
  return html`<div class="faults" role="alert"><b>${entries.length === 1 ? 'One thing' : `${entries.length} things`} to mend. Nothing is booked yet.</b>
<ul>${entries.map(([name, message]) => html`<li><a href="#${name}">${message}</a></li>`)}</ul></div>`
}

type Attributes = Record<string, string>

function input(form: BookForm, name: keyof BookFields, attributes: Attributes, hint?: string, label = LABELS[name]): Html {
  const all = Object.entries(attributes).map(([key, value]) => html` ${key}="${value}"`)
  return wrapped(form, name, label, hint, html`<input id="${name}" name="${name}" value="${form.fields[name]}"${all}${state(form, name, hint)}>`)
}

function select(form: BookForm, name: keyof BookFields, options: [value: string, words: string][], label = LABELS[name]): Html {
  const list = options.map(([value, words]) => html`<option value="${value}"${value === form.fields[name] && html` selected`}>${words}</option>`)
  return wrapped(form, name, label, undefined, html`<select id="${name}" name="${name}"${state(form, name)}>${list}</select>`)
}

/** The label first, the fault beside its field, the hint last. */
function wrapped({ faults }: BookForm, name: keyof BookFields, label: string | undefined, hint: string | undefined, control: Child): Html {
  return html`<div class="field"><label for="${name}">${label}</label>${control}${hint && html`<small id="${name}-hint">${hint}</small>`}${faults[name] && html`<span class="fault" id="${name}-fault">${faults[name]}</span>`}</div>
`
}

function state({ faults, focus }: BookForm, name: keyof BookFields, hint?: string): Html {
  const described = [faults[name] && `${name}-fault`, hint && `${name}-hint`].filter(Boolean).join(' ')
  return html`${faults[name] && html` aria-invalid="true"`}${described && html` aria-describedby="${described}"`}${focus === name && html` autofocus`}`
}

export type { Preview }
