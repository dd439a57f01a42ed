import type { CheckLine } from '../../../domain/schedule/check-line.ts'

/** What a row does, and what so many of them did. */
export const DOES: Record<CheckLine['does'], { row: string; counted: string }> = {
  book: { row: 'Books', counted: 'booked' },
  amend: { row: 'Changes', counted: 'changed' },
  move: { row: 'Moves', counted: 'moved' },
  cancel: { row: 'Cancels', counted: 'cancelled' },
  'no-show': { row: 'Did not come', counted: 'did not come' },
  merge: { row: 'Joins two records', counted: 'records joined' },
  times: { row: 'Opens or closes times', counted: 'with times opened or closed' },
  hold: { row: 'For a person', counted: 'for a person' },
  refuse: { row: 'Not taken', counted: 'not taken' },
  nothing: { row: 'Nothing new', counted: 'nothing new, or no visit of ours' },
}

export const DOES_NAMES = Object.keys(DOES) as CheckLine['does'][]

/** Where in a message, for programs: HL7 2.5 table 0357 names places so, and FHIR by paths. */
const PLACE = /^([A-Z][A-Z0-9]{2}(?:\^\d+)*|[A-Z][A-Za-z]+(?:[.[][\w.[\]]+)?): (.+)$/s

/** What is wrong, and apart from it where, for whoever mends the message. */
export function whyWords(why: string): { words: string; place: string | null } {
  const [, place, words] = PLACE.exec(why) ?? []
  return place !== undefined && words !== undefined ? { words, place } : { words: why, place: null }
}

/** "12 booked, 3 moved, 40 nothing new …"; empty where there is none. */
export function countedWords(counts: ReadonlyMap<CheckLine['does'], number>): string {
  return DOES_NAMES.flatMap((does) => (counts.get(does) ? [`${counts.get(does)} ${DOES[does].counted}`] : [])).join(
    ' · ',
  )
}
