import { type Placeholder, PLACEHOLDERS } from './placeholders.ts'
import type { Language, Text } from './library.ts'
import { MESSAGE_KINDS } from './message-kinds.ts'

/** What would tell a bystander more than that there is a visit. */
const TELLING_VALUES: readonly Placeholder[] = ['avoid', 'answer', 'periods', 'rules']

/** What is wrong with a text, in sentences for its author; empty when nothing is. */
export function textFaults(text: Text, language: Language): string[] {
  const asked = text.asks
  return [
    ...[...asked]
      .filter((name) => !PLACEHOLDERS.includes(name as Placeholder))
      .map((name) => `There is no value {${name}}.`),
    ...needs(text)
      .filter((name) => !asked.has(name))
      .map((name) => `It must say {${name}}.`),
    ...(/'(?=\{)/.test(text.words)
      ? ["An apostrophe right before { hides the value. Write ’, or '' for one apostrophe."]
      : []),
    ...namesStop(text, language),
    ...badWords(text.words, language.never).map((word) => `It speaks of a result or a diagnosis: “${word}”.`),
    ...(heardByAnybody(text) ? tells(text, asked, language) : []),
  ]
}

function needs({ kind, channel, part }: Text): Placeholder[] {
  if (part === 'greeting' || part === 'subject') return ['clinic']
  // Nobody reads an answer to an e-mail: it says where to answer, and where to end them.
  if (part === 'foot') return ['phone', 'page']
  const { answers, mustSay, prepares } = MESSAGE_KINDS[kind]
  // A recorded call must give a number to call back.
  if (channel === 'voice') return ['clinic', ...(part === 'full' ? mustSay.full : []), 'phone']
  const said: readonly Placeholder[] = part === 'full' ? mustSay.full : mustSay.discreet
  if (channel === 'sms') return ['clinic', ...(answers === 'numbers' ? (['choices'] as const) : []), ...said]
  // That it was read is known from the page alone.
  const read: Placeholder[] = prepares === null ? [] : ['visit', 'page']
  return ['clinic', ...said.filter((name) => name !== 'phone'), ...read]
}

function namesStop({ kind, channel, words }: Text, { keywords }: Language): string[] {
  if (channel !== 'sms' || !MESSAGE_KINDS[kind].saysStop || words.includes(keywords.stop)) return []
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
