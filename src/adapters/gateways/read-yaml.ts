import { parse, YAMLParseError } from 'yaml'

/** What is wrong with a text that should be YAML or JSON, beginning with where; undefined where nothing is. */
export function yamlFault(text: string): string | undefined {
  try {
    parse(text)
    return undefined
  } catch (error) {
    const at = error instanceof YAMLParseError ? error.linePos?.[0] : undefined
    const place = at ? `, line ${at.line}, column ${at.col}` : ''
    return `${place}: this is not valid YAML or JSON. Check indentation, quotes and brackets there and in the line before.`
  }
}
