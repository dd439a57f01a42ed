import * as z from 'zod'
import type { Written } from '../../../schedule/fhir/emit/resource.ts'
import type { OperationOutcome } from '../../../schedule/fhir/operation-outcome.ts'
import { count, dates, format, location } from './search.ts'

const status = z.string().max(200).optional()
/** What every search may say. */
export const common = { _format: format }
const cursor = z.string().max(4_000).optional().describe('From link.next, unchanged.')

export const visitQuery = z.strictObject({
  ...common,
  ...{ date: dates, status, location, _count: count(200, 50), _cursor: cursor },
})
export const slotQuery = z.strictObject({
  ...common,
  ...{ start: dates, status, location, _count: count(500, 100), _cursor: cursor },
})
export const messageQuery = z.strictObject({ ...common, about: z.string().max(200) })
export const taskQuery = z.strictObject({
  ...common,
  ...{ status: z.literal('requested').optional(), location, _count: count(200, 50) },
})

/** What was found: a page of it. */
export interface Found {
  found: readonly Written[]
  /** Where the next page begins. */
  cursor?: string | undefined
  outcome?: OperationOutcome
}
