import type { BookForm } from './book-form-data.ts'
import { languagesOnOffer } from '../../../flows/messages/approved-texts.ts'
import type { Preview } from '../../../flows/visits/preview-visit.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import { dateWords } from '../desk/when.ts'
import { knownPart, whoIsMeant } from './book-asks.ts'
import { askedFor, isDate, wordingFor, type BookFields, type Faults } from './book-fields.ts'
import { PURPOSE_NAMES, PURPOSES } from '../../../domain/visits/purpose.ts'
import { minutesOf, USUAL_MINUTES } from '../../../domain/visits/duration.ts'
import { CHANNEL_CHOICES, DETAIL_CHOICES, REACH_CHOICES, RELATION_CHOICES, toldReach } from './reach-fields.ts'
import { CYCLE_CHOICES } from './cycle-choices.ts'
import { looker, lookPanel, textsPanel } from './book-look.ts'
import type { PageContext } from '../desk/page-context.ts'

/** For a choice among them. */
export const PURPOSE_CHOICES = PURPOSE_NAMES.map((name): [string, string] => [name, PURPOSES[name].label])

const LABELS: Partial<Record<keyof BookFields, string>> = {
  phone: 'Telephone',
  name: 'Name',
  birth: 'Birth date',
  own: 'Own number',
  lmp: 'First day of the last period',
  sure: 'How sure',
  usual: 'Usual cycle, days',
  date: 'Date of the visit',
  time: 'Time',
  minutes: 'Minutes',
  protocol: 'Specimen',
  purpose: 'Purpose',
  due: 'Due by',
}

/** The whole form. Its first button is the one that Enter presses, in whatever field the clerk is. */
export function bookForm(form: BookForm): Html {
  const { sheet, fields, faults, look, asked } = form
  return html`<form id="booking" class="book" method="post" action="${sheet.at('book')}" autocomplete="off" novalidate>
<button class="unseen" tabindex="-1" aria-hidden="true">Book the visit</button>
<input type="hidden" name="key" value="${fields.key}">
${Object.keys(faults).length > 0 && summary(faults)}
<fieldset class="f-who"><legend>Caller</legend>
${input(form, 'phone', { type: 'tel', autocomplete: 'off', size: '18' })}
${input(form, 'name', { type: 'text', autocomplete: 'off', maxlength: '120' })}
${knownPart(sheet, fields, asked)}
</fieldset>
<fieldset class="f-cycle"><legend>Last period</legend>
${input(form, 'lmp', DATE, 'Such as 1 Nov, 1/11, 3 weeks ago')}
${select(form, 'sure', [['0', 'Sure'], ['2', 'Within 2 days'], ['5', 'Within 5 days'], ...CYCLE_CHOICES])}
${input(form, 'usual', { type: 'number', min: '15', max: '90', inputmode: 'numeric' }, 'If known')}
</fieldset>
${looker(form)}${lookPanel(form)}
<fieldset class="f-visit"><legend>Visit</legend>
${input(form, 'date', DATE)}
${input(form, 'time', { type: 'text', autocomplete: 'off', size: '7' })}
${input(form, 'minutes', { type: 'number', min: '5', max: '240', inputmode: 'numeric' }, `Usually ${usualMinutes(form)}`)}
${input(form, 'clinician', { type: 'text', autocomplete: 'off', maxlength: '80' }, 'Where several collect at once', 'Clinician or room')}
${select(
  form,
  'protocol',
  [...sheet.deps.protocols.values()].map(({ id, names }) => [id, names.en!]),
)}
${select(form, 'purpose', PURPOSE_CHOICES)}
${input(form, 'due', DATE, 'If known')}
</fieldset>
${messagesPart(form)}
${secondPart(form)}
<p class="f-book"><button class="main">Book the visit</button> <button class="look"
  formaction="${sheet.at('book/look')}">Check the time</button></p>
${textsPanel(sheet, look?.preview ?? null)}
</form>`
}

/** As long as visits of this kind last here. */
function usualMinutes({ sheet, fields }: BookForm): number {
  const protocol = sheet.deps.protocols.get(fields.protocol)?.visitMinutes ?? USUAL_MINUTES
  return minutesOf({ clinic: sheet.clinic.settings.visitMinutes, protocol })
}

/** Whether, how and in which language the patient is told. */
function messagesPart(form: BookForm): Html {
  const { sheet } = form
  return html`<fieldset class="f-messages"><legend>Messages</legend>
${consentPart(form)}
${select(form, 'language', languages(sheet), 'Language')}
${select(form, 'channel', CHANNEL_CHOICES, 'Reached by')}
${input(form, 'email', { type: 'text', inputmode: 'email', autocomplete: 'off', maxlength: '254' }, 'If the patient asked for e-mail', 'E-mail address')}
${select(form, 'detail', DETAIL_CHOICES, 'Texts may')}
${select(form, 'reach', REACH_CHOICES, 'The number takes')}
${input(form, 'until', DATE, 'If the consent has an end', 'Agreed until')}
${receiverPart(form)}
</fieldset>`
}

/** Asked of whoever reads the messages; a tick that answers a question to somebody else is taken out. */
function consentPart({ fields, asked, faults, focus }: BookForm): Html {
  const told = toldReach(fields).receiver
  const receiver = told === undefined ? whoIsMeant(fields, asked)?.receiver : told
  const readTo = receiver ? 'receiver' : 'patient'
  const isTicked = fields.consent === 'yes' && askedFor(fields) === readTo
  const question = receiver
    ? html`${receiver.name} (${receiver.relation}) reads the messages. Read out to that person: “${wordingFor('receiver', fields.channel)}”`
    : html`Read out: “${wordingFor('patient', fields.channel)}”`
  return html`<div class="field wide"><p class="read-out" id="wording">${question}</p>
<input type="hidden" name="readTo" value="${readTo}">
<label class="plain"><input type="checkbox" id="consent" name="consent" value="yes"
  aria-describedby="wording"${isTicked && html` checked`}${focus === 'consent' && html` autofocus`}>${receiver ? 'That person' : 'The patient'} agreed</label>${
    faults.consent && html`<span class="fault" id="consent-fault">${faults.consent}</span>`
  }</div>`
}

/** Somebody else who reads the messages agrees in the own right. */
function receiverPart(form: BookForm): Html {
  const { fields } = form
  return html`${select(form, 'relation', RELATION_CHOICES, 'Who reads them')}
${input(form, 'receiver', { type: 'text', autocomplete: 'off', maxlength: '120' }, 'Unless it is the patient', 'Name of that person')}
<div class="field wide"><p class="read-out">To that person, read out: “${wordingFor('receiver', fields.channel)}”</p>
<label class="plain"><input type="checkbox" id="open" name="open" value="yes"${fields.open === 'yes' && html` checked`}>The patient agreed that this person reads how to prepare</label></div>`
}

/** Tells people of one name apart. Last, since it is not asked of every caller. */
function secondPart(form: BookForm): Html {
  return html`<fieldset class="f-second"><legend>Second identifier</legend>
${input(form, 'birth', DATE, 'If known')}
${input(form, 'own', { type: 'text', autocomplete: 'off', maxlength: '40' }, 'In your own records')}
</fieldset>`
}

/** Those whose texts may be sent. */
function languages({ deps, library }: PageContext): [value: string, words: string][] {
  return languagesOnOffer(deps.approvedTexts).map((code) => [code, library.languages.get(code)!.name])
}

function summary(faults: Faults): Html {
  const entries = Object.entries(faults)
  return html`<div class="faults"
    role="alert"><b>${entries.length === 1 ? 'One thing' : `${entries.length} things`} to mend. Nothing is booked yet.</b>
<ul>${entries.map(([name, message]) => html`<li><a href="#${name}">${message}</a></li>`)}</ul></div>`
}

type Attributes = Record<string, string>

/** Typed as it is said, and read back in words: no field of one browser's order, with tab stops of its own. */
const DATE: Attributes = { type: 'text', autocomplete: 'off', size: '14' }
const DATES: ReadonlySet<string> = new Set(['lmp', 'date', 'due', 'until', 'birth'])

/** What a date is shown as again. */
function shown(name: keyof BookFields, value: string): string {
  return DATES.has(name) && isDate(value) ? dateWords(value, 'd LLL yyyy') : value
}

function input(
  form: BookForm,
  name: keyof BookFields,
  attributes: Attributes,
  hint?: string,
  label = LABELS[name],
): Html {
  const all = Object.entries(attributes).map(([key, value]) => html` ${key}="${value}"`)
  return wrapped(
    form,
    name,
    label,
    hint,
    html`<input id="${name}" name="${name}" value="${shown(name, form.fields[name])}"${all}${state(form, name, hint)}>`,
  )
}

function select(
  form: BookForm,
  name: keyof BookFields,
  options: [value: string, words: string][],
  label = LABELS[name],
): Html {
  const list = options.map(
    ([value, words]) =>
      html`<option value="${value}"${value === form.fields[name] && html` selected`}>${words}</option>`,
  )
  return wrapped(
    form,
    name,
    label,
    undefined,
    html`<select id="${name}" name="${name}"${state(form, name)}>${list}</select>`,
  )
}

/** The label first, the fault beside its field, the hint last. */
function wrapped(
  { faults }: BookForm,
  name: keyof BookFields,
  label: string | undefined,
  hint: string | undefined,
  control: Child,
): Html {
  return html`<div class="field"><label for="${name}">${label}</label>${control}${
    hint &&
    html`<small
    id="${name}-hint">${hint}</small>`
  }${
    faults[name] &&
    html`<span class="fault"
      id="${name}-fault">${faults[name]}</span>`
  }</div>
`
}

function state({ faults, focus }: BookForm, name: keyof BookFields, hint?: string): Html {
  const described = [faults[name] && `${name}-fault`, hint && `${name}-hint`].filter(Boolean).join(' ')
  return html`${faults[name] && html` aria-invalid="true"`}${described && html` aria-describedby="${described}"`}${focus === name && html` autofocus`}`
}

export type { Preview }
