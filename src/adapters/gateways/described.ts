import * as z from 'zod'
import { badInput, Failure } from '../../domain/failure.ts'
import { schemaWords } from './schema-words.ts'

/** Name of a gateway, as it stands in addresses and records. */
export const gatewayName = z.string().regex(/^[a-z][a-z0-9-]{0,39}$/, 'Use small letters, digits and hyphens.')

/** A secret never stands in a description, only the name of the environment variable that holds it. */
export const secretReference = z
  .string()
  .regex(/^env:[A-Z][A-Z0-9_]*$/, 'Put the secret in the environment and name it here as env:NAME.')

/**
 * What a `secretReference` leads to.
 * @param gateway its name, for whoever must mend it
 * @throws Failure `bad-input` where the environment has no such secret
 */
export function secretOf(gateway: string, reference: string, secret: (name: string) => string | undefined): string {
  const variable = reference.slice('env:'.length)
  return secret(variable) || badInput(variable, `Gateway ${gateway} needs ${variable} in the environment.`)
}

/**
 * Checks the description of a gateway, as read from YAML or JSON.
 *
 * @throws Failure `bad-input` with every fault at once.
 */
export function readDescribed<S extends z.ZodType>(schema: S, raw: unknown): z.infer<S> {
  const read = schema.safeParse(raw, { error: schemaWords(schema) })
  if (read.success) return read.data
  const faults = read.error.issues.map((issue) => ({
    field: issue.path.join('.') || 'gateway',
    message: issue.message,
  }))
  throw new Failure('bad-input', {
    message: faults.map((fault) => `${fault.field}: ${fault.message}`).join('\n'),
    faults,
  })
}
