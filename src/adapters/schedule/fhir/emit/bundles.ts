import type { OperationOutcome } from '../operation-outcome.ts'
import type { Written } from './resource.ts'

/** What is said of one entry of a transaction or batch. */
export interface EntryAnswer {
  /** HTTP status, e.g. `201 Created`. */
  status: string
  location?: string
  etag?: string
  lastModified?: string
  outcome: OperationOutcome
}

/** R4 `Bundle` that answers another, entry by entry. */
export function answerBundle(
  type: 'transaction-response' | 'batch-response',
  answers: readonly EntryAnswer[],
): Written {
  // An empty list is none in FHIR.
  const entry = answers.map((response) => ({ response }))
  return { resourceType: 'Bundle', type, ...(entry.length > 0 && { entry }) }
}

/** A page of what was searched for. */
export interface Page {
  /** Address of the endpoint. */
  base: string
  /** Address of this page, and of the next where there is one. */
  self: string
  next: string | null
  found: readonly Written[]
  /** What whoever searched should know. */
  outcome: OperationOutcome | null
}

/** R4 `Bundle` of type `searchset`. */
export function searchSet({ base, self, next, found, outcome }: Page): Written {
  const entry = [
    ...found.map((resource) => ({
      ...{ fullUrl: `${base}/${resource.resourceType}/${resource.id}`, resource, search: { mode: 'match' } },
    })),
    ...(outcome ? [{ resource: outcome, search: { mode: 'outcome' } }] : []),
  ]
  return {
    resourceType: 'Bundle',
    type: 'searchset',
    link: [{ relation: 'self', url: self }, ...(next === null ? [] : [{ relation: 'next', url: next }])],
    ...(entry.length > 0 && { entry }),
  }
}
