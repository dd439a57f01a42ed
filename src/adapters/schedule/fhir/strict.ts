import type { Refusal } from '../../../domain/schedule/feed.ts'
import type * as z from 'zod'
import { CODE, toPerson } from '../read-context.ts'

/** A resource as it came: an object that says what it is. */
export type Raw = Readonly<Record<string, unknown>>

/** Whether something is an object with a resource type. */
export function isResource(value: unknown): value is Raw & { resourceType: string } {
  return isObject(value) && typeof value['resourceType'] === 'string'
}

export function isObject(value: unknown): value is Raw {
  return typeof value === 'object' && value !== null && !Array.isArray(value)
}

/**
 * What may not be overlooked and is not understood (FHIR R4, extensibility: "an application SHALL NOT process" what
 * carries it): a `modifierExtension` at any depth, or rules other than FHIR's. Undefined = nothing such.
 */
export function notUnderstood(resource: Raw & { resourceType: string }): Refusal | undefined {
  const where = modifierIn(resource, resource.resourceType)
  return where === undefined
    ? undefined
    : toPerson(
        CODE.unsupported,
        where,
        'It may change the meaning and is not known here: take it in by hand, or have it left out.',
      )
}

/** Goes through without calling itself: what is sent may be nested deeper than the stack is. */
function modifierIn(resource: Raw, type: string): string | undefined {
  const left: { value: unknown; at: string }[] = [{ value: resource, at: type }]
  for (let next = left.pop(); next !== undefined; next = left.pop()) {
    const { value, at } = next
    if (Array.isArray(value)) value.forEach((item, index) => left.push({ value: item, at: `${at}[${index}]` }))
    else if (isObject(value)) {
      const found = MODIFIERS.find((name) => value[name] !== undefined)
      if (found) return `${at}.${found}`
      for (const [name, item] of Object.entries(value)) left.push({ value: item, at: `${at}.${name}` })
    }
  }
  return undefined
}

const MODIFIERS = ['modifierExtension', 'implicitRules']

/** The fields that are read, or the first that is not as FHIR has it. Values are not repeated: they may name people. */
export function strictly<S extends z.ZodType>(
  schema: S,
  resource: unknown,
  type: string,
): { fields: z.infer<S> } | { refused: Refusal } {
  const { success, data, error } = schema.safeParse(resource)
  if (success) return { fields: data }
  const { path, code, message } = error.issues[0]!
  const at = path.reduce<string>(
    (all, part) => (typeof part === 'number' ? `${all}[${part}]` : `${all}.${String(part)}`),
    type,
  )
  const told = path.reduce<unknown>(
    (value, part) => (value as Record<PropertyKey, unknown> | undefined)?.[part],
    resource,
  )
  if (told === undefined) return { refused: toPerson(CODE.missing, at, 'FHIR R4 asks for this and it is missing.') }
  if (code === 'invalid_value') return { refused: toPerson(CODE.value, at, 'FHIR R4 has no such code here.') }
  const words = code === 'custom' || code === 'invalid_format' ? ` (${message})` : ''
  return { refused: toPerson(CODE.type, at, `Not as FHIR R4 writes it${words}.`) }
}
