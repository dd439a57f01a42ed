import type { Patient } from '../../../domain/patients/patient.ts'
import { needsCall } from '../../../domain/preparation/cycle/move-rule.ts'
import { samePerson } from '../../../domain/patients/same-person.ts'
import { bookingDoubts, type BookingDoubt } from '../../../domain/visits/booking-doubts.ts'
import { knownAt, timesAround, type KnownPatient } from '../../../flows/visits/known-at.ts'
import type { Preview } from '../../../flows/visits/preview-visit.ts'
import { asks } from '../../../flows/visits/tell-timing.ts'
import { html, type Html } from '../pages/html.ts'
import { field } from '../desk/page.ts'
import type { PageContext } from '../desk/page-context.ts'
import { secondWords } from '../desk/words.ts'
import { isDate, timingFacts, type BookFields, type Faults } from './book-fields.ts'
import { phoneOf } from './understood.ts'
import type { Asked, Look } from './book-form-data.ts'
import { chosenHistory } from './cycle-choices.ts'

/** A better time is free, or the desk will have to call about this one. */
const isBadlyTimed = ({ judgement, texts }: Preview) => !judgement.keep || needsCall(judgement, asks(texts))

export async function askedOf(sheet: PageContext, fields: BookFields, look: Look | null): Promise<Asked> {
  const { deps, clinic, now } = sheet
  const { read } = deps.store
  const visitAt = look?.preview ? look.around : null
  const [known, times] = await Promise.all([
    knownAt(read, clinic.id, phoneOf(fields.phone, clinic.country), now),
    visitAt ? timesAround(read, clinic.id, visitAt) : [],
  ])
  const preview = look?.preview
  const doubts = bookingDoubts({
    told: toldOf(fields),
    known,
    visit: visitAt && { visitAt, zone: clinic.zone },
    times,
    lmpTwice: isDate(fields.lmp) && chosenHistory(fields.sure) !== null,
    badlyTimed:
      preview && isBadlyTimed(preview) ? { facts: timingFacts(fields), reason: preview.judgement.reason } : null,
  })
  return { known, doubts }
}

function toldOf({ name, birth, own }: BookFields) {
  return { name, ...(isDate(birth) && { birthDate: birth }), ...(own !== '' && { ownNumber: own.trim() }) }
}

const keyOf = (doubts: readonly BookingDoubt[]) => doubts.map(({ key }) => key).join('\n')

const FIELD_ABOUT = { name: 'name', date: 'date', time: 'time', lmp: 'sure', timing: 'time' } as const

/** Why a badly timed visit is booked all the same: kept with the visit, and taught from. */
export const REASONS_DESPITE: Record<string, string> = {
  wish: 'The patient wants this time',
  'nothing-else': 'No better time suits',
  clinician: 'A clinician asked for it',
  other: 'Another reason',
}

/** What stands in the way until the clerk says that it is meant; none where it was said about these very doubts. */
export function unsettled(sheet: PageContext, { doubts }: Asked): Faults {
  if (doubts.length === 0) return {}
  if (field(sheet, 'despite') !== keyOf(doubts))
    return Object.fromEntries(
      doubts.map(({ about, message }) => [
        FIELD_ABOUT[about],
        about === 'timing' ? `Badly timed. ${message}` : message,
      ]),
    )
  const needsReason = doubts.some(({ about }) => about === 'timing') && !(field(sheet, 'why') in REASONS_DESPITE)
  return needsReason ? { time: 'Choose why this badly timed visit is booked all the same.' } : {}
}

/** What was said to be meant, for the record. */
export function noteOf(sheet: PageContext, { doubts }: Asked): Record<string, unknown> {
  if (doubts.length === 0) return {}
  const why = field(sheet, 'why')
  const about = [...new Set(doubts.map(({ about: each }) => each))]
  return { despite: about, ...(about.includes('timing') && why in REASONS_DESPITE && { why }) }
}

/** One tick for all that stands there, and a reason where the timing is bad. */
export function asksPart(sheet: PageContext, { doubts }: Asked, focused: boolean): Html | null {
  if (doubts.length === 0) return null
  const key = keyOf(doubts)
  const isTicked = field(sheet, 'despite') === key
  return html`<div class="asks" role="group" aria-label="Before you book">
<ul>${doubts.map(({ about, message }) => about !== 'timing' && html`<li>${message}</li>`)}</ul>
<label class="plain"><input type="checkbox" id="despite" name="despite" value="${key}"${isTicked && html` checked`}${focused && html` autofocus`}>Book all the same</label>
${doubts.some(({ about }) => about === 'timing') && reasonPart(field(sheet, 'why'))}</div>`
}

function reasonPart(chosen: string): Html {
  return html`<label for="why">because</label> <select id="why" name="why"><option value="">Choose a reason</option>${Object.entries(
    REASONS_DESPITE,
  ).map(
    ([value, words]) => html`<option value="${value}"${value === chosen && html` selected`}>${words}</option>`,
  )}</select>`
}

/** Who of those known at the number is booked for, by what the form says so far. */
export function whoIsMeant(fields: BookFields, { known }: Asked): Patient | undefined {
  const patients = known.map(({ patient }) => patient)
  return fields.name === '' ? undefined : samePerson(patients, toldOf(fields))
}

/** Whom the clinic knows at the number: one press, and nobody is entered twice. */
export function knownPart(sheet: PageContext, fields: BookFields, asked: Asked): Html {
  const { known } = asked
  const who = whoIsMeant(fields, asked)
  return html`<div id="known" class="field wide" aria-live="polite">${
    known.length > 0 &&
    html`<ul class="known">${known.map((each) => knownEntry(sheet, each, each.patient.id === who?.id))}</ul>`
  }</div>`
}

function knownEntry(sheet: PageContext, { patient, visits }: KnownPatient, isChosen: boolean): Html {
  const times = visits.map(({ visitAt, zone }) => sheet.dayAndClock(visitAt, zone))
  return html`<li data-patient="${patient.id}">Known here: <b>${patient.name}</b>${secondWords(patient) && `, ${secondWords(patient)}`}. ${
    times.length === 0 ? 'No visit to come.' : `Visit ${times.join('; ')}.`
  } ${
    isChosen
      ? html`<b>Same person.</b>`
      : html`<button name="same" value="${patient.id}" formaction="${sheet.at('book/look')}"
    hx-post="${sheet.at('book/look')}" hx-include="#booking" hx-target="#booking" hx-select="#booking"
      hx-swap="outerHTML">Same person</button>`
  }</li>`
}

/** The form with what is known of the patient that was chosen. */
export function withKnown(fields: BookFields, known: readonly KnownPatient[], chosen: string): BookFields {
  const patient = known.find((each) => each.patient.id === chosen)?.patient
  if (!patient) return fields
  const { usualCycleDays } = patient.cycle
  return {
    ...fields,
    name: patient.name,
    birth: patient.birthDate ?? fields.birth,
    own: patient.ownNumber ?? fields.own,
    language: patient.language,
    usual: fields.usual || (usualCycleDays === undefined ? '' : String(usualCycleDays)),
  }
}
