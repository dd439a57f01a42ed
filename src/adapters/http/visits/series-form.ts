import { html, type Html } from '../pages/html.ts'
import type { PageContext } from '../desk/page-context.ts'

/** The form for many openings, as typed. */
export interface SeriesFields {
  from: string
  to: string
  weekdays: string[]
  first: string
  until: string
  every: string
  lasting: string
  clinician: string
}

const WEEKDAYS = ['Monday', 'Tuesday', 'Wednesday', 'Thursday', 'Friday', 'Saturday', 'Sunday']

export function seriesForm(sheet: PageContext, fields: SeriesFields, faults: Record<string, string>): Html {
  const one = (name: keyof SeriesFields, label: string, type: string) =>
    html`<div class="field"><label for="s-${name}">${label}</label><input id="s-${name}" name="${name}" type="${type}"
      value="${String(fields[name])}"${faults[name] && html` aria-invalid="true" aria-describedby="s-${name}-fault" autofocus`}>${fault(name)}</div>\n`
  const fault = (name: string) => faults[name] && html`<span class="fault" id="s-${name}-fault">${faults[name]}</span>`
  return html`<section class="series" aria-labelledby="series-h"><h2 id="series-h">Add many openings</h2>
<form method="post" action="${sheet.at('openings')}" novalidate>
<fieldset class="days"><legend>On</legend>${WEEKDAYS.map(
    (name, index) => html`<label class="plain"><input
  type="checkbox" name="weekdays"
    value="${index + 1}"${fields.weekdays.includes(String(index + 1)) && html` checked`}>${name}</label>\n`,
  )}${fault('weekdays')}</fieldset>
<div class="line">${one('first', 'From', 'time')}${one('until', 'Before', 'time')}${one('every', 'Every, minutes', 'number')}${one('lasting', 'Each lasts, minutes', 'number')}${one('from', 'First day', 'date')}${one('to', 'Last day', 'date')}${one('clinician', 'Clinician or room', 'text')}</div>
<button class="main">Add the openings</button> <small>Times are ${sheet.clinic.zone}. Times that exist already stay as they are. Without a length a time takes whoever fits before the next visit.</small>
</form></section>`
}
