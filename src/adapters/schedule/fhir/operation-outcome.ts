import type { MessageRead } from '../../../domain/schedule/feed.ts'
import { CODE } from '../read-context.ts'

/** FHIR R4 `OperationOutcome`, as far as it is written here. */
export interface OperationOutcome {
  resourceType: 'OperationOutcome'
  issue: {
    severity: 'error' | 'warning' | 'information'
    code: string
    details: { text: string }
    expression?: string[]
    diagnostics?: string
  }[]
}

/** FHIR R4 value set `issue-type`, by code of HL7 table 0357. */
const ISSUE_TYPES: ReadonlyMap<number, string> = new Map([
  [CODE.missing, 'required'],
  [CODE.type, 'structure'],
  [CODE.value, 'value'],
  [CODE.unsupported, 'not-supported'],
  [CODE.unknownKey, 'not-found'],
  [CODE.person, 'business-rule'],
])

/** What was made of what was sent, in FHIR's words. An outcome has one issue at least (R4: `issue` 1..*). */
export function operationOutcome(read: MessageRead): OperationOutcome {
  if ('news' in read) {
    const doubts = [...(read.doubts ?? []), ...read.news.flatMap((one) => one.doubts)]
    const issue = doubts.map((text) => ({ severity: 'warning' as const, code: 'informational', details: { text } }))
    const fine = { severity: 'information' as const, code: 'informational', details: { text: 'Taken.' } }
    return { resourceType: 'OperationOutcome', issue: issue.length > 0 ? issue : [fine] }
  }
  const { code, at, why } = read
  // `expression` is FHIRPath: a place in a file is not, and stands beside it.
  const isPath = /^[A-Z][A-Za-z]*(\[\d+\])?(\.[A-Za-z]+(\[\d+\])?)*$/.test(at)
  return {
    resourceType: 'OperationOutcome',
    issue: [
      {
        severity: 'error',
        code: ISSUE_TYPES.get(code) ?? 'processing',
        details: { text: why },
        ...(at !== '' && (isPath ? { expression: [at] } : { diagnostics: at })),
      },
    ],
  }
}
