import type { ErrorRequestHandler, Request, Response } from 'express'
import type { Logger } from 'pino'
import * as z from 'zod'
import { FAILURES, Failure } from '../../domain/failure.ts'
import { speaksFhir } from './schedule/fhir/address.ts'
import { sendOutcome } from './schedule/fhir/problem-outcome.ts'
import { codeOf, databaseTrouble, type DatabaseTrouble } from '../faults/database-trouble.ts'

/** RFC 9457 problem details. `type` is a relative reference to the explanation in the documentation. */
export interface Problem {
  type: string
  title: string
  status: number
  detail?: string
  code: string
  field?: string
  faults?: { field: string; message: string }[]
}

export const PROBLEM_TYPE = 'application/problem+json'

/**
 * The problem an error amounts to. Anything unexpected says nothing about itself to the outside.
 * @param request whose it is: one that only looks has nothing to be saved
 */
export function toProblem(error: unknown, { method }: Pick<Request, 'method'>): Problem {
  const failure = toFailure(error, method === 'GET' || method === 'HEAD')
  if (!failure)
    return { type: '/problems#internal', title: 'Something went wrong on our side', status: 500, code: 'internal' }
  const { status, title } = FAILURES[failure.code]
  const { message, field, faults } = failure.detail
  return {
    type: `/problems#${failure.code}`,
    title,
    status,
    code: failure.code,
    detail: message,
    ...(field && { field }),
    ...(faults && { faults }),
  }
}

function toFailure(error: unknown, looks: boolean): Failure | null {
  if (error instanceof Failure) return error
  if (error instanceof z.ZodError) return fromZod(error)
  const type = typeof error === 'object' && error !== null && 'type' in error ? error.type : undefined
  if (type === 'entity.parse.failed')
    return new Failure('bad-json', { message: 'The body is not valid JSON. Check quotes, commas and brackets.' })
  // Nobody is there any more to read it; it is no fault of ours either.
  if (type === 'request.aborted' || type === 'request.size.invalid')
    return new Failure('bad-json', { message: 'The body broke off before its end.' })
  if (type === 'parameters.too.many')
    return new Failure('too-large', { message: 'The form has too many fields. Choose fewer at once.' })
  if (type === 'entity.too.large') return new Failure('too-large', { message: 'Send at most 64 kB.' })
  if (type === 'encoding.unsupported' || type === 'charset.unsupported')
    return new Failure('not-json', { message: 'Send JSON in UTF-8, not compressed.' })
  if (error instanceof URIError) return new Failure('not-found', { message: 'This address cannot be read.' })
  const trouble = databaseTrouble(error)
  return (
    trouble &&
    new Failure(trouble === 'full' ? 'database-full' : 'database-away', { message: troubleWords(trouble, looks) })
  )
}

/**
 * It is never certain that nothing was saved: what was refused may be the record of who saw the answer, or a look at
 * what had just been saved.
 */
function troubleWords(trouble: DatabaseTrouble, looks: boolean): string {
  const why = trouble === 'full' ? 'The disk of the database is full: tell whoever looks after the service. ' : ''
  if (looks) return `${why}Try again in a minute; on paper meanwhile.`
  return `${why}It may not have been saved. Try again in a minute, but look first whether it is there; on paper meanwhile.`
}
const RETRY_AFTER_S = 15

/** What passes by itself is no error of ours, and says when to come again. */
export function isOfDatabase({ locals }: Response): boolean {
  return locals.code === 'database-away' || locals.code === 'database-full'
}

/** Says when to come again, and for the log why. */
export function noteAway(response: Response, error: unknown): void {
  response.set('Retry-After', String(RETRY_AFTER_S))
  response.locals.cause = codeOf(error)
}

/** Notes a problem on the answer and in the log: the unexpected with its stack, never with a body. */
export function noteProblem(
  { log, what }: { log: Logger; what: string },
  { error, problem }: { error: unknown; problem: Problem },
  [request, response]: [Request, Response],
): void {
  response.locals.code = problem.code
  if (isOfDatabase(response)) noteAway(response, error)
  else if (problem.status >= 500) log.error({ request: request.id, error: describe(error) }, what)
}

function fromZod(error: z.ZodError): Failure {
  const faults = error.issues.map(({ path, message }) => ({ field: path.join('.'), message }))
  const first = faults[0]!
  return new Failure('bad-input', { ...first, faults })
}

/** Answers every error as a problem document. */
export function problemHandler(log: Logger): ErrorRequestHandler {
  return (error, request, response, next) => {
    if (response.headersSent) return next(error)
    const problem = toProblem(error, request)
    noteProblem({ log, what: 'request failed' }, { error, problem }, [request, response])
    if (speaksFhir(request)) sendOutcome(request, response, problem)
    else response.status(problem.status).type(PROBLEM_TYPE).send(JSON.stringify(problem))
  }
}

/** Database errors carry values in `detail`; only code and stack are kept. */
export function describe(error: unknown): Record<string, unknown> {
  if (!(error instanceof Error)) return { kind: typeof error }
  const code = 'code' in error ? String(error.code) : undefined
  return { name: error.name, code, stack: error.stack?.split('\n').slice(1, 8).join('\n') }
}
