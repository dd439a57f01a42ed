import type { Meaning } from '../replies/reading.ts'
import type { Detail, TextKind } from './kinds.ts'

/** What pressing a key in a call means: a reply with its meaning, or something for the call itself. */
export type KeyMeaning =
  | {
      meaning: Meaning
      choice?: number
      /** With `period-started`: how many days ago; missing = not known, ask. */ daysAgo?: number
    }
  | 'repeat'
  | 'call-me'

type Menu = Partial<Record<string, KeyMeaning>>

const ALWAYS: Menu = { '9': 'repeat' }
const USUAL: Menu = { ...ALWAYS, '0': 'call-me', '8': { meaning: 'stop' } }
const CHOICES: Menu = {
  '1': { meaning: 'choice', choice: 1 },
  '2': { meaning: 'choice', choice: 2 },
  '3': { meaning: 'choice', choice: 3 },
}
const COMING: Menu = { '1': { meaning: 'confirm' }, '2': { meaning: 'cannot-come' } }

const FULL: Partial<Record<TextKind, Menu>> = {
  'cycle-check': {
    '1': { meaning: 'period-started', daysAgo: 0 },
    '2': { meaning: 'period-started', daysAgo: 1 },
    '3': { meaning: 'period-started' },
    '4': { meaning: 'not-started' },
  },
  prep: { '1': { meaning: 'period-started' } },
  'day-before': COMING,
  offer: CHOICES,
  'which-visit': CHOICES,
}
const DISCREET: Partial<Record<TextKind, Menu>> = { 'day-before': COMING, offer: CHOICES, 'which-visit': CHOICES }
/** After these there is nothing left to ask for. */
const FAREWELL: TextKind[] = ['stopped', 'wrong-person']

/** The keys of the greeting, before the message is said. */
export const GREETING_KEYS = { '1': 'hear', '7': 'wrong-person' } as const

/** What the keys mean after a text of this kind was said. The menus in `templates/<language>/voice.yaml` say the same keys. */
export function menuOf(kind: TextKind, detail: Detail): Menu {
  if (FAREWELL.includes(kind)) return ALWAYS
  return { ...USUAL, ...(detail === 'full' ? FULL : DISCREET)[kind] }
}
