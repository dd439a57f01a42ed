import { onTheLine } from '../../../domain/calls/on-the-line.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { ClinicClock } from '../desk/when.ts'
import { phoneWords, secondWords } from '../desk/words.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import type { ClinicPrint } from './print-data.ts'

/** A print, and the clock that its clinic reads. */
export interface Paper extends ClinicPrint, ClinicClock {}

/** One part of the paper: a table whose head says on every page of it what this is, whose, and of when. */
export interface Part {
  title: string
  columns: readonly string[]
  rows: Child
  /** Above the table, once. */
  intro?: Child
}

/** A patient, with the second identifier where the clinic prints it, and who answers the telephone. */
export function whom({ clinic }: ClinicPrint, patient: Patient): Html {
  const second = clinic.settings.secondOnPaper ? secondWords(patient) : ''
  const line = onTheLine(patient)
  return html`<b data-patient="${patient.id}">${patient.name}</b>${second && html`<small>${second}</small>`}<small>${phoneWords(patient.phone)}</small>${line && html`<small>${line}</small>`}${patient.language !== 'en' && html`<small>Language: ${patient.language}</small>`}`
}
