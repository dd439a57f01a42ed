import { distance } from 'fastest-levenshtein'
import type * as z from 'zod'

/** So many letters may be wrong in a name that is recognised. */
const NEAR = 2
const NOUNS: Record<string, string> = {
  string: 'a text',
  number: 'a number',
  int: 'a whole number',
  boolean: 'true or false',
  object: 'fields with their values',
  record: 'fields with their values',
  array: 'a list',
}

/** Says what is wrong with one value of a description, and what to write instead, in the words of this service. */
export function schemaWords(schema: z.ZodType): z.core.$ZodErrorMap {
  const names = [...namesIn(schema)]
  return (issue) => {
    if (issue.code === 'unrecognized_keys') return issue.keys.map((key) => unknown(key, names)).join(' ')
    if (issue.code === 'invalid_type') return issue.input === undefined ? 'This is missing.' : wanted(issue.expected)
    if (issue.code === 'invalid_value') return `Write ${issue.values.map(String).join(' or ')}.`
    if (issue.code === 'too_small') return `Write ${bound(issue.origin, issue.minimum, 'at least')}.`
    if (issue.code === 'too_big') return `Write ${bound(issue.origin, issue.maximum, 'at most')}.`
    return 'This is not written in any way that is known here. See the example of this kind in infra/gateways.'
  }
}

function wanted(expected: string): string {
  return `Write ${NOUNS[expected] ?? expected}.`
}

function unknown(key: string, names: readonly string[]): string {
  const near = names
    .map((name) => ({ name, far: distance(name.toLowerCase(), key.toLowerCase()) }))
    .sort((a, b) => a.far - b.far)[0]
  const meant = near && near.far <= NEAR ? `: did you mean ${near.name}?` : '.'
  return `There is no field ${key}${meant}`
}

function bound(origin: string, limit: number | bigint, words: string): string {
  if (origin === 'string') return limit === 1 ? 'something here' : `${words} ${limit} characters`
  return origin === 'array' ? `${words} ${limit} of them` : `a number of ${words} ${limit}`
}

/** Every name of a field that the schema knows, however deep. */
function namesIn(schema: unknown, seen = new Set<unknown>()): Set<string> {
  const names = new Set<string>()
  if (typeof schema !== 'object' || schema === null || seen.has(schema)) return names
  seen.add(schema)
  const def = (schema as { def?: Record<string, unknown> }).def ?? {}
  const shape = (def.shape ?? {}) as Record<string, unknown>
  const options = Array.isArray(def.options) ? (def.options as unknown[]) : []
  for (const name of Object.keys(shape)) names.add(name)
  const inner = [...Object.values(shape), ...options, def.innerType, def.element, def.valueType, def.in, def.out]
  for (const each of inner) for (const name of namesIn(each, seen)) names.add(name)
  return names
}
