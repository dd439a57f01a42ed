import type { TextKind } from './kinds.ts'
import type { Language, Text } from './library.ts'

/** Every value a template may ask for. `rules` is none, common or other; `periods` yes or no: both are for `select`. */
export const PLACEHOLDERS = [
  'clinic', 'phone', 'visit', 'mark', 'choices', 'count', 'avoid', 'rules', 'periods', 'answer', 'page',
] as const // prettier-ignore
export type Placeholder = (typeof PLACEHOLDERS)[number]

// First contact, help and alarm say how to reach the clinic (as reminder rules of several countries ask); the others
// would be useless without their value.
const FULL_NEEDS: Partial<Record<TextKind, Placeholder[]>> = {
  confirmation: ['visit', 'phone'],
  prep: ['mark', 'avoid'],
  'late-prep': ['avoid'],
  'day-before': ['visit'],
  moved: ['visit'],
  'move-asked': ['visit'],
  'no-change': ['visit'],
  lapse: ['visit'],
  alarm: ['phone'],
  help: ['phone'],
  rejoined: ['phone'],
  answer: ['answer'],
}
const DISCREET_NEEDS: Partial<Record<TextKind, Placeholder[]>> = {
  confirmation: ['phone'],
  alarm: ['phone'],
  help: ['phone'],
  rejoined: ['phone'],
}
/** What would tell a bystander more than that there is a visit. */
const TELLING_VALUES: Placeholder[] = ['avoid', 'answer', 'periods', 'rules']
const STOP_SAID_IN: TextKind[] = ['confirmation', 'help', 'rejoined']

/** What is wrong with a text, in sentences for its author; empty when nothing is. */
export function textFaults(text: Text, language: Language): string[] {
  const asked = text.asks
  return [
    ...[...asked].filter((name) => !PLACEHOLDERS.includes(name as Placeholder)).map((name) => `There is no value {${name}}.`),
    ...needs(text)
      .filter((name) => !asked.has(name))
      .map((name) => `It must say {${name}}.`),
    ...(/'(?=\{)/.test(text.words) ? ["An apostrophe right before { hides the value. Write ’, or '' for one apostrophe."] : []),
    ...namesStop(text, language),
    ...badWords(text.words, language.never).map((word) => `It speaks of a result or a diagnosis: “${word}”.`),
    ...(heardByAnybody(text) ? tells(text, asked, language) : []),
  ]
}

function needs({ kind, channel, part }: Text): Placeholder[] {
  if (part === 'greeting') return ['clinic']
  // A recorded call must give a number to call back.
  if (channel === 'voice') return ['clinic', ...(part === 'full' ? (FULL_NEEDS[kind] ?? []) : []), 'phone']
  const choices: Placeholder[] = kind === 'offer' || kind === 'which-visit' ? ['choices'] : []
  return ['clinic', ...choices, ...((part === 'full' ? FULL_NEEDS : DISCREET_NEEDS)[kind] ?? [])]
}

function namesStop({ kind, channel, words }: Text, { keywords }: Language): string[] {
  if (channel !== 'sms' || !STOP_SAID_IN.includes(kind) || words.includes(keywords.stop)) return []
  return [`It must say how to stop: ${keywords.stop}.`]
}

/** The full text is said only to the one whose visit it is. */
function heardByAnybody({ part }: Text): boolean {
  return part !== 'full'
}

function tells({ words }: Text, asked: ReadonlySet<string>, { telling }: Language): string[] {
  return [
    ...TELLING_VALUES.filter((name) => asked.has(name)).map((name) => `A discreet text may not say {${name}}.`),
    ...badWords(words, telling).map((word) => `A discreet text may not say “${word}”.`),
  ]
}

/** The words of a template (values left out) that begin with one of `beginnings`, whatever the case. */
export function badWords(words: string, beginnings: readonly string[]): string[] {
  const said =
    words
      .replace(/\{\w+\}/g, ' ')
      .toLowerCase()
      .match(/[\p{L}\p{M}]+/gu) ?? []
  return said.filter((word) => beginnings.some((beginning) => word.startsWith(beginning.toLowerCase())))
}
