import type { Request, RequestHandler } from 'express'
import { ipKeyGenerator, rateLimit } from 'express-rate-limit'
import { Failure } from '../../../domain/failure.ts'

export interface Limits {
  /** Tries to sign in, choose a password or name a code, from one address. */
  signIn: RequestHandler
  /** Requests of one key, one person or one address to the API and the desk. */
  work: RequestHandler
  /** Views of private pages from one address: tokens cannot be guessed, and nobody shall try. */
  page: RequestHandler
  /** Webhook calls that were refused, from one address. Good ones are not counted: a gateway may be busy. */
  refusedCalls: RequestHandler
}

const MINUTE = 60_000

/** Limits count within one process; several behind a balancer each have their own. */
export function createLimits(): Limits {
  return {
    signIn: limit(30, 15 * MINUTE, { keyGenerator: byAddress }),
    // What this machine does without a key outside production is not limited.
    work: limit(1_200, MINUTE, { keyGenerator: byActor, skip: ({ actor }) => actor?.kind === 'local' }),
    page: limit(240, MINUTE, { keyGenerator: byAddress }),
    refusedCalls: limit(120, MINUTE, { keyGenerator: byAddress, skipSuccessfulRequests: true }),
  }
}

type Options = Pick<NonNullable<Parameters<typeof rateLimit>[0]>, 'keyGenerator' | 'skip' | 'skipSuccessfulRequests'>

function limit(most: number, windowMs: number, options: Options): RequestHandler {
  return rateLimit({
    windowMs,
    limit: most,
    standardHeaders: 'draft-8',
    legacyHeaders: false,
    handler: (_request, _response, next) =>
      next(
        new Failure('slow-down', {
          message: 'Too many requests. The header Retry-After says in how many seconds to go on.',
        }),
      ),
    ...options,
  }) as RequestHandler
}

/** A whole IPv6 network counts as one address: anybody has a large number of them. */
function byAddress(request: Request): string {
  return ipKeyGenerator(request.ip ?? '')
}

function byActor(request: Request): string {
  return request.actor ? `${request.actor.kind} ${request.actor.id}` : byAddress(request)
}
