import type { CheckLine } from '../../../domain/schedule/check-line.ts'

/** What a row does, and what so many of them did. */
export const DOES: Record<CheckLine['does'], { row: string; counted: string }> = {
  book: { row: 'Books', counted: 'booked' },
  amend: { row: 'Changes', counted: 'changed' },
  move: { row: 'Moves', counted: 'moved' },
  cancel: { row: 'Cancels', counted: 'cancelled' },
  'no-show': { row: 'Did not come', counted: 'did not come' },
  merge: { row: 'Joins two records', counted: 'records joined' },
  times: { row: 'Opens or closes times', counted: 'times opened or closed' },
  hold: { row: 'For a person', counted: 'for a person' },
  refuse: { row: 'Not taken', counted: 'not taken' },
  nothing: { row: 'Nothing new', counted: 'nothing new, or no visit of ours' },
}

export const DOES_NAMES = Object.keys(DOES) as CheckLine['does'][]

/** "12 booked, 3 moved, 40 nothing new …"; empty where there is none. */
export function countedWords(counts: Partial<Record<CheckLine['does'], number>>): string {
  return DOES_NAMES.flatMap((does) => (counts[does] ? [`${counts[does]} ${DOES[does].counted}`] : [])).join(' · ')
}
