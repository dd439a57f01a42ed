import { readdirSync, readFileSync } from 'node:fs'
import { expect, it } from 'vitest'
import { appointment } from '../resources.ts'
import { faultsIn, referees } from './referees.ts'

const EXAMPLES = new URL('../examples/', import.meta.url)
const examples = readdirSync(EXAMPLES).filter((name) => name.endsWith('.json'))

it.each(examples)("HL7's %s passes all of them", (name) => {
  expect(faultsIn(JSON.parse(readFileSync(new URL(name, EXAMPLES), 'utf8')))).toEqual([])
})

// Each is needed: what it alone finds the two others let through.
it.each([
  ['fhir', { status: undefined, start: undefined, end: undefined, minutesDuration: 0 }, ['invariants']],
  ['schema', { start: '2026-03-20T09:00:00', end: '2026-03-20T09:20:00' }, []],
  ['invariants', { end: undefined }, []],
] as const)('%s finds a fault that others do not', (who, over, alsoBy) => {
  const bad = JSON.parse(JSON.stringify(appointment(over))) as unknown
  const finds = Object.entries(referees).filter(([, check]) => check(bad).length > 0)
  expect(finds.map(([name]) => name).sort()).toEqual([who, ...alsoBy].sort())
})
