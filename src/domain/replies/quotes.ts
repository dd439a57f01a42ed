import { badInput } from '../failure.ts'
import { readPattern } from './pattern.ts'
import type { VocabularySource } from './vocabulary-source.ts'

/** What a phone says before (or after) a text that it sends back: liked, doubted, or a reaction taken back. */
export const REACTIONS = ['approved', 'doubted', 'withdrawn', 'emoji'] as const
/** `emoji`: which of the two it is, the emoji tells. */
export type Reaction = (typeof REACTIONS)[number]

/** How phones and mail quote, in all languages at once: a phone need not speak the patient's. */
export interface Quotes {
  /** Folded words, without emoji → the reaction. */
  reactions: Map<string, Reaction>
  /** "On … wrote:", in small letters; `opens` may be empty. */
  mail: { opens: string; closes: RegExp }[]
}

/** @throws Failure `bad-input` naming the language and entry at fault. */
export function compileQuotes(sources: VocabularySource[]): Quotes {
  const quotes: Quotes = { reactions: new Map(), mail: [] }
  for (const { language, quoted } of sources)
    for (const [kind, entries] of Object.entries(quoted))
      for (const entry of entries) addQuote(quotes, language, kind, entry)
  return quotes
}

function addQuote({ reactions, mail }: Quotes, language: string, kind: string, entry: string): void {
  if (kind === 'mail') {
    const [opens, closes] = entry.toLowerCase().split('...')
    if (!closes) badInput(`${language} quoted.mail`, `Write "${entry}" as two words with "..." between them.`)
    mail.push({ opens: opens!.trim(), closes: new RegExp(`${closes!.trim()}\\s{0,3}:`, 'u') })
  } else if (isReaction(kind)) for (const words of wordings(entry, language)) reactions.set(words, kind)
  else
    badInput(
      `${language} quoted.${kind}`,
      `There is no way of quoting "${kind}". Use one of: ${REACTIONS.join(', ')}, mail.`,
    )
}

function isReaction(kind: string): kind is Reaction {
  return (REACTIONS as readonly string[]).includes(kind)
}

/** Every way of writing an entry, as folded words. */
function wordings(entry: string, language: string): string[] {
  return readPattern(entry).flatMap(({ steps }) =>
    steps.reduce<string[]>(
      (ways, step) => {
        if (step.kind !== 'word') return badInput(`${language} quoted`, `"${entry}" may hold plain words only.`)
        return ways.flatMap((way) => [...step.words].map((word) => `${way} ${word}`.trim()))
      },
      [''],
    ),
  )
}
