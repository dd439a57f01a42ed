import type { Patient } from './patient.ts'

/**
 * Shorter beginnings would match half the patients, and their hashes would tell more about the names than they must.
 */
const SHORTEST = 3
const LONGEST = 10
const LAST_DIGITS = 4

/** Words without case, accents and marks: "Élodie O'Hara-Núñez" → elodie, ohara, nunez. */
function words(text: string): string[] {
  const plain = text
    .normalize('NFKD')
    .replaceAll(/[\p{M}'’.]/gu, '')
    .toLocaleLowerCase('en')
  return plain.split(/[^\p{L}\p{N}]+/u).filter((word) => word !== '')
}

/**
 * Everything a patient can be found by: beginnings of the words of the name, the last four digits of the telephone, the
 * birth date, and the clinic's own number, written as one or in its parts.
 */
export function findableBy({ name, phone, birthDate, ownNumber = '' }: Findable): string[] {
  const numbers = [...words(ownNumber), words(ownNumber).join('')].filter((word) => word !== '')
  return [
    ...new Set([
      ...words(name).flatMap(beginnings),
      `#${phone.slice(-LAST_DIGITS)}`,
      ...(birthDate === undefined ? [] : [`@${birthDate}`]),
      ...numbers.map((word) => word.slice(0, LONGEST)),
    ]),
  ]
}

type Findable = Pick<Patient, 'name' | 'phone' | 'birthDate' | 'ownNumber'>

function beginnings(word: string): string[] {
  if (word.length <= SHORTEST) return [word]
  const longest = Math.min(word.length, LONGEST)
  return Array.from({ length: longest - SHORTEST + 1 }, (_, index) => word.slice(0, SHORTEST + index))
}

/** What a clerk typed, in the same terms: a patient must match all of them. Empty when it is too short to look for. */
export function lookedFor(typed: string): string[] {
  const digits = typed.trim()
  if (/^\d{4}$/.test(digits)) return [`#${digits}`]
  if (/^\d{4}-\d{2}-\d{2}$/.test(digits)) return [`@${digits}`]
  return [...new Set(words(typed).map((word) => word.slice(0, LONGEST)))]
}
