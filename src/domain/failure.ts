/**
 * The one registry of errors that Daysix can answer with: code, HTTP status, short title.
 * The explanation of each (what happened, how to mend it) is in DEVELOPERS.md; a test ties the two together.
 */
export const FAILURES = {
  'bad-json': { status: 400, title: 'The body is not valid JSON' },
  'bad-input': { status: 422, title: 'A field has a value that cannot be used' },
  'too-large': { status: 413, title: 'The body is too large' },
  'not-json': { status: 415, title: 'The body is not JSON' },
  unauthorized: { status: 401, title: 'The request is not signed in' },
  forbidden: { status: 403, title: 'Not yours to see or do' },
  'slow-down': { status: 429, title: 'Too many requests' },
  'not-found': { status: 404, title: 'There is nothing here by that name' },
  'already-booked': { status: 409, title: 'The patient has a visit at that time' },
  'time-taken': { status: 409, title: 'The time is taken' },
  'too-late': { status: 409, title: 'It has been settled already' },
  changed: { status: 409, title: 'Somebody else has changed it meanwhile' },
  'key-reused': { status: 409, title: 'The Idempotency-Key was used for another request' },
  'data-folder-in-use': { status: 503, title: 'Another process has the data folder' },
  'database-away': { status: 503, title: 'The database does not take this now' },
  'database-full': { status: 503, title: 'There is no room left to write in' },
  'bad-config': { status: 500, title: 'The settings cannot be used' },
} as const satisfies Record<string, { status: number; title: string }>

export type FailureCode = keyof typeof FAILURES

/**
 * What can be told about a failure without naming a person: a field, ids, how to mend it. Never a name, number or text.
 */
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
