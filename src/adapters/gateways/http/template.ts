import { badInput } from '../../../domain/failure.ts'

/** What a template may speak of: see `FIELDS` in http-config.ts. */
export type Fields = Record<string, string>
/** A template made ready: puts a message's values in. */
export type Fill = (fields: Fields) => string
/** Resolves `env:NAME`; the caller has checked beforehand that it exists. */
export type Secrets = (name: string) => string

const FILTERS: Record<string, (value: string) => string> = {
  no_plus: (value) => value.replace(/^\+/, ''),
  url: encodeURIComponent,
  json: (value) => JSON.stringify(value).slice(1, -1),
  xml: (value) => value.replace(/[<>&'"]/g, (sign) => `&#${sign.charCodeAt(0)};`),
  base64: (value) => Buffer.from(value, 'utf8').toString('base64'),
  hex: (value) => Buffer.from(value, 'utf8').toString('hex'),
  utf16be_hex: (value) => utf16be(value).toString('hex'),
}

const PLACE = /\{([a-z][a-z0-9_]*)((?:\|[a-z0-9_]+)*)\}/g

/**
 * Makes a template ready: `{field}` or `{field|filter|filter}`; a whole value `env:NAME` is a secret and never a
 * template.
 * `escape` is applied to every field after its own filters, for text that is not encoded as a whole afterwards (XML,
 * JSON).
 *
 * @throws Failure `bad-input` on a field or filter that does not exist; `path` says where it stands in the
 *   configuration.
 */
export function compile(
  template: string,
  path: string,
  known: ReadonlySet<string>,
  secrets: Secrets,
  escape = 'none',
): Fill {
  if (template.startsWith('env:')) {
    const secret = secrets(template.slice(4))
    return () => secret
  }
  const last = escape === 'none' ? [] : [escape]
  const parts: Fill[] = []
  let end = 0
  for (const match of template.matchAll(PLACE)) {
    const before = template.slice(end, match.index)
    parts.push(() => before, place(match[1]!, [...match[2]!.split('|').slice(1), ...last], path, known))
    end = match.index + match[0].length
  }
  const rest = template.slice(end)
  return (fields) => parts.map((part) => part(fields)).join('') + rest
}

function place(field: string, filters: string[], path: string, known: ReadonlySet<string>): Fill {
  if (!known.has(field)) badInput(path, `There is no field {${field}}. Fields are: ${[...known].join(', ')}.`)
  const unknown = filters.find((filter) => !(filter in FILTERS))
  if (unknown !== undefined)
    badInput(path, `There is no filter "${unknown}". Filters are: ${Object.keys(FILTERS).join(', ')}.`)
  return (fields) => filters.reduce((value, filter) => FILTERS[filter]!(value), fields[field] ?? '')
}

/** Bytes of a text in UTF-16, big end first. */
export function utf16be(text: string): Buffer {
  return Buffer.from(text, 'utf16le').swap16()
}
