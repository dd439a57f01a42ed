import type { Request, Response } from 'express'
import { FHIR_TYPE } from './address.ts'
import { outcomeOf } from './outcomes.ts'

/** R4 value set `issue-type`, by code of a failure; what is missing here is `exception`. */
const ISSUE_TYPES: Readonly<Record<string, string>> = {
  unauthorized: 'login',
  forbidden: 'forbidden',
  'not-found': 'not-found',
  'bad-json': 'structure',
  'not-json': 'not-supported',
  'bad-input': 'invalid',
  'too-large': 'too-long',
  'slow-down': 'throttled',
  'database-away': 'transient',
  'database-full': 'no-store',
  changed: 'conflict',
}

interface Told {
  status: number
  code: string
  title: string
  detail?: string
}

/** A problem in FHIR's words. A search that cannot be read is a bad request there. */
export function sendOutcome({ method }: Request, response: Response, { status, code, title, detail }: Told): void {
  const looks = method === 'GET' || method === 'HEAD'
  const outcome = outcomeOf('error', ISSUE_TYPES[code] ?? 'exception', detail ?? title)
  response
    .status(looks && status === 422 ? 400 : status)
    .type(FHIR_TYPE)
    .send(JSON.stringify(outcome))
}
