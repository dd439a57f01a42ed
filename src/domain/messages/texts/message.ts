import { IntlMessageFormat } from 'intl-messageformat'

// Parsing costs more than filling, and there are only a few hundred different messages.
// eslint-disable-next-line no-restricted-syntax -- a memo: the answers are the same without it
const parsed = new Map<string, IntlMessageFormat>()

/**
 * Reads ICU MessageFormat. Throws SyntaxError on a malformed one. `<` is an ordinary character: texts carry no mark-up.
 */
export function parseMessage(words: string, locale: string): IntlMessageFormat {
  const key = `${locale}\n${words}`
  const known = parsed.get(key) ?? new IntlMessageFormat(words, locale, undefined, { ignoreTag: true })
  parsed.set(key, known)
  return known
}

/** Fills a message in one go. */
export function fill(words: string, locale: string, values: Record<string, string | number>): string {
  return String(parseMessage(words, locale).format(values))
}

interface Node {
  type: number
  value?: string
  options?: Record<string, { value: Node[] }>
}

const LITERAL = 0
const POUND = 7

/** The names of the values a message asks for. */
export function placeholders(message: IntlMessageFormat): Set<string> {
  const names = new Set<string>()
  const visit = (nodes: Node[]): void => {
    for (const node of nodes) {
      if (node.type !== LITERAL && node.type !== POUND && node.value) names.add(node.value)
      for (const option of Object.values(node.options ?? {})) visit(option.value)
    }
  }
  visit(message.getAst() as Node[])
  return names
}
