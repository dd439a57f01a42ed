/**
 * The one registry of errors that Daysix can answer with: code, HTTP status, short title.
 * The explanation of each (what happened, how to mend it) is in DEVELOPERS.md; a test ties the two together.
 */
export const FAILURES = {
  'bad-json': { status: 400, title: 'The body is not valid JSON' },
  'bad-input': { status: 422, title: 'A field has a value that cannot be used' },
  'data-folder-in-use': { status: 503, title: 'Another process has the data folder' },
} as const satisfies Record<string, { status: number; title: string }>

export type FailureCode = keyof typeof FAILURES

/** What can be told about a failure without naming a person: a field, ids, how to mend it. Never a name, number or text. */
export interface FailureDetail {
  /** Path of the field at fault, e.g. `cycle.lmp`. */
  field?: string
  /** One sentence: what is wrong and how to mend it. */
  message: string
  /** Ids only, for the log. */
  ids?: Record<string, string>
  /** More than one fault: each with its own field. */
  faults?: { field: string; message: string }[]
}

/** An error with a registered code. Its message never carries personal data. */
export class Failure extends Error {
  readonly code: FailureCode
  readonly detail: FailureDetail

  constructor(code: FailureCode, detail: FailureDetail, cause?: unknown) {
    super(`${code}: ${detail.message}`, cause === undefined ? undefined : { cause })
    this.name = 'Failure'
    this.code = code
    this.detail = detail
  }
}

/** Throws a `bad-input` failure for one field. */
export function badInput(field: string, message: string): never {
  throw new Failure('bad-input', { field, message })
}
