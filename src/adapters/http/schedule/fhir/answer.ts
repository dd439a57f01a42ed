import type { Answer } from '../../route.ts'
import { FHIR_TYPE } from './address.ts'
import { outcomeOf } from './outcomes.ts'

export const fhir = (status: number, body: object, headers: Record<string, string> = {}): Answer => ({
  ...{ status, body, headers: { 'Content-Type': FHIR_TYPE, ...headers } },
})

export const badRequest = (words: string): Answer => fhir(400, outcomeOf('error', 'not-supported', words))
