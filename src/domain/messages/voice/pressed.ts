import type { CalendarDate } from '../../preparation/cycle/history.ts'
import { addDays } from '../../preparation/cycle/days.ts'
import type { Meaning, Reading } from '../../replies/reading.ts'

/** What a key said. `period-started` without `daysAgo` was longer ago than yesterday: then a person must ask. */
export interface Pressed {
  meaning: Meaning
  daysAgo?: 0 | 1
  choice?: number
}

/** Everything a key can say, as it stands in addresses and forms, e.g. `period-started.1`. */
const CODES: ReadonlyMap<string, Pressed> = new Map<string, Pressed>(
  [
    { meaning: 'confirm' },
    { meaning: 'cannot-come' },
    { meaning: 'not-started' },
    { meaning: 'stop' },
    { meaning: 'wrong-person' },
    { meaning: 'period-started' },
    { meaning: 'period-started', daysAgo: 0 },
    { meaning: 'period-started', daysAgo: 1 },
    { meaning: 'choice', choice: 1 },
    { meaning: 'choice', choice: 2 },
    { meaning: 'choice', choice: 3 },
  ].map((pressed) => [codeOf(pressed as Pressed), pressed as Pressed]),
)

/** One word for what was said. */
export function codeOf({ meaning, daysAgo, choice }: Pressed): string {
  return [meaning, daysAgo ?? choice].filter((part) => part !== undefined).join('.')
}

/** What a word of `codeOf` says; undefined for anything else. */
export function pressedOf(code: string): Pressed | undefined {
  return CODES.get(code)
}

/**
 * A pressed key as a reply that was read. There is nothing to be unsure of.
 *
 * @param today in the zone of the patient's visit.
 */
export function readingOf({ meaning, daysAgo, choice }: Pressed, today: CalendarDate): Reading {
  return {
    meaning,
    ...(daysAgo !== undefined && { startedOn: addDays(today, -daysAgo) }),
    ...(choice !== undefined && { choice }),
    confidence: 1,
    words: [],
  }
}
