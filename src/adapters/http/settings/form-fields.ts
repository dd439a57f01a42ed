import { html, type Child, type Html } from '../pages/html.ts'

/** What was wrong, by the id of the field, in the order in which fields stand. */
export type Faults = Record<string, string>

/** One field of a form: what it is called, what it means, what stands in it. */
export interface FieldShown {
  /** Its name in the form, and its id on the page. */
  name: string
  label: string
  hint?: string
  value: string
  attributes?: Record<string, string>
}

export type Choices = readonly (readonly [value: string, words: string])[]

export function inputField(faults: Faults, { attributes = {}, ...field }: FieldShown): Html {
  const { name, value } = field
  const all = Object.entries({ type: 'text', autocomplete: 'off', ...attributes })
  const written = all.map(([key, each]) => html` ${key}="${each}"`)
  return wrapped(
    faults,
    field,
    html`<input id="${name}" name="${name}" value="${value}"${written}${state(faults, field)}>`,
  )
}

export function textField(faults: Faults, field: FieldShown): Html {
  const { name, value } = field
  return wrapped(
    faults,
    field,
    html`<textarea id="${name}" name="${name}" rows="2" cols="40"${state(faults, field)}>${value}</textarea>`,
  )
}

export function selectField(faults: Faults, field: FieldShown, choices: Choices): Html {
  const { name, value } = field
  const options = choices.map(
    ([each, words]) => html`<option value="${each}"${each === value && html` selected`}>${words}</option>`,
  )
  return wrapped(faults, field, html`<select id="${name}" name="${name}"${state(faults, field)}>${options}</select>`)
}

/** What is to be mended, each a link to its field. @param nothing what did not happen, e.g. "Nothing is kept yet." */
export function faultSummary(faults: Faults, nothing: string): Html | null {
  const entries = Object.entries(faults)
  if (entries.length === 0) return null
  const head = entries.length === 1 ? 'One thing to mend.' : `${entries.length} things to mend.`
  return html`<div class="faults" role="alert"><b>${head} ${nothing}</b>
<ul>${entries.map(([name, message]) => html`<li><a href="#${name}">${message}</a></li>`)}</ul></div>`
}

function wrapped(faults: Faults, { name, label, hint }: Omit<FieldShown, 'value'>, control: Child): Html {
  return html`<div class="field"><label for="${name}">${label}</label>${control}${faultBeside(faults, name)}${
    hint !== undefined && html`<small id="${name}-hint">${hint}</small>`
  }</div>
`
}

export function faultBeside(faults: Faults, name: string): Html | false {
  return faults[name] !== undefined && html`<span class="fault" id="${name}-fault">${faults[name]}</span>`
}

/** Which words belong to a control; the first field at fault has the focus. */
function state(faults: Faults, { name, hint }: Omit<FieldShown, 'value'>): Html {
  const isWrong = faults[name] !== undefined
  const described = [isWrong && `${name}-fault`, hint !== undefined && `${name}-hint`].filter(Boolean).join(' ')
  return html`${isWrong && html` aria-invalid="true"`}${described !== '' && html` aria-describedby="${described}"`}${
    Object.keys(faults)[0] === name && html` autofocus`
  }`
}
