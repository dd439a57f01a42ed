import { IntlMessageFormat } from 'intl-messageformat'

/** Reads ICU MessageFormat. Throws SyntaxError on a malformed one. `<` is an ordinary character: texts carry no mark-up. */
export function parseMessage(words: string, locale: string): IntlMessageFormat {
  return new IntlMessageFormat(words, locale, undefined, { ignoreTag: true })
}

/** Fills the small patterns of a language (dates, choices). */
export function fill(pattern: string, locale: string, values: Record<string, string | number>): string {
  return String(remembered(pattern, locale).format(values))
}

// Parsing a pattern costs more than filling it, and there are only a few per language.
const parsed = new Map<string, IntlMessageFormat>()

function remembered(pattern: string, locale: string): IntlMessageFormat {
  const key = `${locale}\n${pattern}`
  const known = parsed.get(key) ?? parseMessage(pattern, locale)
  parsed.set(key, known)
  return known
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
