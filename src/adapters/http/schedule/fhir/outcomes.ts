import { STATUS_CODES } from 'node:http'
import type { CheckLine } from '../../../../domain/schedule/check-line.ts'
import type { MessageRead } from '../../../../domain/schedule/feed.ts'
import type { Standing } from '../../../../flows/schedule/versions.ts'
import { operationOutcome, type OperationOutcome } from '../../../schedule/fhir/operation-outcome.ts'
import { CODE } from '../../../schedule/read-context.ts'

/** What became of one resource. */
export interface Became {
  status: number
  outcome: OperationOutcome
  standing: Standing | undefined
}

/** One sentence, where nothing was read. */
export function outcomeOf(
  severity: 'error' | 'warning' | 'information',
  code: string,
  text: string,
  more: { expression?: string[] } = {},
): OperationOutcome {
  return { resourceType: 'OperationOutcome', issue: [{ severity, code, details: { text }, ...more }] }
}

/** What became of what was read, by the lines that it came to. */
export function becameOf(read: MessageRead, lines: readonly CheckLine[], standing: Standing | undefined): Became {
  if (standing && 'unmet' in standing) return unmet(standing)
  if ('ack' in read) return { status: statusOfRefusal(read), outcome: operationOutcome(read), standing }
  const issue = lines.map(issueOf)
  const outcome: OperationOutcome =
    issue.length > 0 ? { resourceType: 'OperationOutcome', issue } : operationOutcome(read)
  return { status: statusOf(lines, standing), outcome, standing }
}

/** `AR`: not for us. Of what a visit is known by another number nothing is found. */
const statusOfRefusal = ({ ack, code }: Extract<MessageRead, { ack: string }>) =>
  ack === 'AR' ? 400 : code === CODE.unknownKey ? 404 : 422

function statusOf(lines: readonly CheckLine[], standing: Standing | undefined): number {
  if (lines.some(({ ack }) => ack !== 'AA')) return 422
  if (lines.some(({ does }) => does === 'hold')) return 202
  return standing && 'taken' in standing && standing.taken.version === 1 ? 201 : 200
}

function unmet(standing: Extract<Standing, { unmet: string }>): Became {
  if (standing.unmet === 'known') {
    const outcome = outcomeOf('information', 'informational', 'An appointment with this number is known: nothing done.')
    return { status: 200, outcome, standing }
  }
  const isStale = standing.unmet === 'stale'
  const text = isStale
    ? 'Its version is another: somebody has changed it, or it was never told here. Nothing was done.'
    : 'Several appointments have this number: nothing was done.'
  return { status: 412, outcome: outcomeOf('error', isStale ? 'conflict' : 'multiple-matches', text), standing }
}

function issueOf({ does, why, ack }: CheckLine): OperationOutcome['issue'][number] {
  const text = DONE[does] + (why ? ` ${why}` : '')
  if (ack !== 'AA') return { severity: 'error', code: 'business-rule', details: { text } }
  if (does === 'hold') return { severity: 'warning', code: 'business-rule', details: { text } }
  return { severity: 'information', code: 'informational', details: { text } }
}

const DONE: Readonly<Record<CheckLine['does'], string>> = {
  book: 'Booked.',
  amend: 'Amended.',
  move: 'Moved.',
  cancel: 'Cancelled.',
  'no-show': 'Recorded that the patient did not come.',
  merge: 'Two records are one.',
  times: 'Times of the diary changed.',
  nothing: 'Nothing had to be done.',
  hold: 'A person must look at this.',
  refuse: 'Refused.',
}

/** As an entry of a bundle says it. */
export const statusWords = (status: number): string => `${status} ${STATUS_CODES[status] ?? ''}`.trim()
