import type { Patient } from '../../../domain/patients/patient.ts'
import { hears, reaches } from '../../../domain/patients/reach.ts'
import { byHandFaults, LONGEST_BY_HAND } from '../../../domain/messages/texts/by-hand.ts'
import { languageOf } from '../../../domain/messages/texts/render.ts'
import { measureSms } from '../../../domain/messages/texts/sms.ts'
import { html, type Html } from '../pages/html.ts'
import type { PageContext } from '../desk/page-context.ts'
import { countedTexts } from '../desk/words.ts'

export interface WriteForm {
  patient: Patient
  words: string
  fault: string | null
  optedOut: boolean
}

/**
 * Writing to the patient by hand, with the limits in sight; where the patient wants no messages, the way to call
 * instead.
 */
export function writeForm(sheet: PageContext, { patient, words, fault, optedOut }: WriteForm): Html {
  if (optedOut) return html`<p class="note">The patient wants no messages. ${insteadOf(patient)}</p>`
  if (!reaches(patient, 'sms')) return html`<p class="note">No text reaches this number. ${insteadOf(patient)}</p>`
  const path = sheet.at(`replies/${patient.id}`)
  return html`<section class="write" aria-labelledby="write-h"><h2 id="write-h">Write to the patient</h2>
<form method="post" action="${path}/write">
<label for="words">In ${languageOf(sheet.library, patient.language).name}, after “${sheet.clinic.name}:”</label>
<textarea id="words" name="words" rows="3" maxlength="${LONGEST_BY_HAND}" aria-describedby="measure rules${fault ? ' words-fault' : ''}"${fault && html` aria-invalid="true" autofocus`} hx-post="${path}/measure" hx-trigger="input changed delay:250ms" hx-target="#measure" hx-select="#measure" hx-swap="outerHTML" hx-sync="this:replace">${words}</textarea>
${fault && html`<span class="fault" id="words-fault">${fault}</span>`}
${measured(sheet, patient, words)}
<p id="rules">Nothing about results or diagnoses; never tell the patient to stop a prescribed medicine.${patient.detail === 'discreet' && ' The patient asked for discreet texts: name neither test nor reason.'} If the patient wrote within the last day it goes at once; otherwise within sending hours, as the patient's one message of that day.</p>
<button class="main">Send to the patient</button>${hears(patient) && html` <a class="button" href="tel:${patient.phone}">Call instead</a>`}
</form></section>`
}

/** What to do where nothing may be written. */
function insteadOf(patient: Patient): Html {
  return hears(patient)
    ? html`<a href="tel:${patient.phone}">Call the patient</a>.`
    : html`Reach the patient another way.`
}

/** Length and cost as it would be sent, and what may not be texted. */
export function measured({ clinic, library }: PageContext, { detail, language }: Patient, words: string): Html {
  const { segments } = measureSms(`${clinic.name}: ${words}`)
  const faults = words === '' ? [] : byHandFaults(words, languageOf(library, language), detail)
  return html`<p id="measure" role="status">${words.length} of ${LONGEST_BY_HAND} characters, ${countedTexts(segments)}. ${faults.map((fault) => html`<b class="act">${fault} </b>`)}</p>`
}
