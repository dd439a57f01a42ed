import type { PatientId, Told, ToldPatient } from '../../../domain/schedule/schedule-news.ts'
import { get, repetitions, segmentsOf, text, type Hl7Message, type Segment } from './parse.ts'
import { contactsOf } from './contacts.ts'
import { dayOf, readDtm } from './times.ts'

/** Who the patient is, as PID and the observations beside it tell: empty is not told, `""` is told to be none. */
export function patientOf(pid: Segment, message: Hl7Message, doubts: string[]): ToldPatient {
  return {
    ids: idsOf(pid, 3),
    name: nameOf(pid, doubts),
    ...contactsOf(pid),
    birthDate: day(pid, 7, 'PID-7', doubts),
    language: languageOf(pid),
    died: diedOf(pid),
    lmp: lmpOf(message, doubts),
  }
}

/** CX: id, who gave it, and what kind it is. */
export function idsOf(segment: Segment, field: number): PatientId[] {
  return repetitions(segment, field)
    .map((n) => ({
      value: text(segment, field, n),
      authority: text(segment, field, n, 4) || text(segment, field, n, 4, 2),
      type: text(segment, field, n, 5),
    }))
    .filter(({ value }) => value !== '')
}

/** Legal, then customary (HL7 table 0200), then whichever comes first. */
const NAME_TYPES = ['L', 'D']
const LOST = '\ufffd'

function nameOf(pid: Segment, doubts: string[]): Told<string> {
  const all = repetitions(pid, 5)
  const typed = NAME_TYPES.flatMap((type) => all.filter((n) => text(pid, 5, n, 7) === type))
  const chosen = [...typed, ...all].find((n) => written(pid, n) !== '')
  if (chosen === undefined) return get(pid, 5) === null ? null : undefined
  const name = written(pid, chosen)
  if (!name.includes(LOST)) return name
  doubts.push('PID-5 lost letters on its way here: it was passed over.')
  return undefined
}

const written = (pid: Segment, n: number) =>
  [text(pid, 5, n, 2), text(pid, 5, n, 1)].filter((part) => part !== '').join(' ')

/** A date with its day; part of one is not told. */
function day(segment: Segment, field: number, at: string, doubts: string[]): Told<string> {
  const told = get(segment, field)
  if (told === null || told === undefined) return told
  const dtm = readDtm(told)
  const date = dtm && dayOf(dtm)
  if (date !== null) return date
  doubts.push(`${at} is no whole date: it was passed over.`)
  return undefined
}

function languageOf(pid: Segment): Told<string> {
  const code = get(pid, 15)
  return code === undefined ? text(pid, 15, 1, 2) || undefined : code
}

/** PID-30, or a moment of death in PID-29. */
function diedOf(pid: Segment): Told<boolean> {
  if (text(pid, 29) !== '') return true
  const told = get(pid, 30)
  return typeof told === 'string' ? told.toUpperCase() === 'Y' : told
}

/** LOINC: date of the last menstrual period. */
const LMP = '8665-2'
const LOINC = 'LN'
/** HL7 table 0085: deleted, wrong, not obtained. */
const NO_RESULT: ReadonlySet<string> = new Set(['D', 'W', 'X', 'N'])

function lmpOf(message: Hl7Message, doubts: string[]): ToldPatient['lmp'] {
  const found = segmentsOf(message, 'OBX').filter((obx) => isLmp(obx) && !NO_RESULT.has(text(obx, 11)))
  const last = found.at(-1)
  if (last === undefined) return undefined
  const first = day(last, 5, 'The last period (OBX-5)', doubts)
  if (first === null || first === undefined) return first
  const toldOn = day(last, 14, 'OBX-14', doubts) ?? null
  const made = readDtm(text(message.segments[0], 7))
  const known = toldOn ?? (made && dayOf(made))
  if (known === null || first <= known) return { day: first, toldOn }
  doubts.push('The last period (OBX-5) lies after the day on which it was told: it was passed over.')
  return undefined
}

const isLmp = (obx: Segment) =>
  [1, 4].some((part) => text(obx, 3, 1, part) === LMP && [LOINC, ''].includes(text(obx, 3, 1, part + 2)))
