import { onTheLine } from '../../../domain/calls/on-the-line.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { hears } from '../../../domain/patients/reach.ts'
import { html, type Html } from '../pages/html.ts'
import { phoneWords } from '../desk/words.ts'

/** Whom a caller will have on the line, beside the name of a patient; nothing where it is the patient. */
export function lineNote(patient: Pick<Patient, 'reach' | 'receiver'>): Html | null {
  const words = onTheLine(patient)
  return words === null ? null : html`<p class="note line">${words}</p>`
}

/** A number to call by a press, but for a patient who would not hear it. */
export function telephone(phone: string, patient: Pick<Patient, 'reach'> | null): Html {
  if (patient && !hears(patient)) return html`<span class="tel">${phoneWords(phone)}</span>`
  return html`<a class="tel" href="tel:${phone}">${phoneWords(phone)}</a>`
}
