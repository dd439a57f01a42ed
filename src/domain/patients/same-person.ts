import { distance } from 'fastest-levenshtein'
import type { Patient } from './patient.ts'

const MOST_LETTERS_APART = 2

/** What was told of somebody who is booked for. */
export type Told = Pick<Patient, 'name' | 'birthDate' | 'ownNumber'>

const spelled = (name: string) => name.normalize('NFKC').trim().replace(/\s+/g, ' ').toLocaleLowerCase()

const contradict = (a: string | undefined, b: string | undefined) => a !== undefined && b !== undefined && a !== b

/**
 * Which of the patients at one number is booked for; undefined = somebody else. The clinic's own number decides;
 * without it the same name, unless birth date or own number say that it is another person of that name.
 */
export function samePerson(known: readonly Patient[], told: Told): Patient | undefined {
  const numbered = told.ownNumber && known.find(({ ownNumber }) => ownNumber === told.ownNumber)
  if (numbered) return numbered
  return known.find(
    ({ name, birthDate, ownNumber }) =>
      spelled(name) === spelled(told.name) &&
      !contradict(birthDate, told.birthDate) &&
      !contradict(ownNumber, told.ownNumber),
  )
}

/**
 * Those at one number who may be meant by a name that is nobody's there: a letter or two differ, names stand in another
 * order, or one of them is missing. Own judgement: a clerk is asked, and decides.
 */
export function mayBeMeant<Known extends Pick<Patient, 'name' | 'birthDate' | 'ownNumber'>>(
  known: readonly Known[],
  told: Told,
): Known[] {
  const name = words(told.name)
  if (name.length === 0) return []
  return known.filter(
    (each) =>
      spelled(each.name) !== spelled(told.name) &&
      !contradict(each.birthDate, told.birthDate) &&
      isNearly(words(each.name), name),
  )
}

const words = (name: string) =>
  spelled(name)
    .split(/[\s-]+/)
    .filter(Boolean)
    .sort()

function isNearly(a: readonly string[], b: readonly string[]): boolean {
  const [few, many] = a.length <= b.length ? [a, b] : [b, a]
  if (few.every((word) => many.includes(word))) return true
  return distance(a.join(' '), b.join(' ')) <= MOST_LETTERS_APART
}
