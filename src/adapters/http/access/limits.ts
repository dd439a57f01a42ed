import type { Request, RequestHandler } from 'express'
import { rateLimit } from 'express-rate-limit'
import { Failure } from '../../../domain/failure.ts'
import { FailureLimit, addressOf } from './failure-limit.ts'

export interface Limits {
  /** Tries to sign in, choose a password or name a code, from one address. */
  signIn: RequestHandler
  /** Requests of one key, one person or one address to the API and the desk. */
  work: RequestHandler
  /** Views of private pages from one address: tokens cannot be guessed, and nobody shall try. */
  page: RequestHandler
  /** Wrong keys, passwords and codes from one address. */
  failures: FailureLimit
  /** Webhook calls that were refused, from one address. Apart, since good ones are never limited. */
  refusedCalls: FailureLimit
}

const MINUTE = 60_000

/** Limits count within one process; several behind a balancer each have their own. */
export function createLimits(now: () => Date): Limits {
  return {
    signIn: limit(30, 15 * MINUTE, { keyGenerator: addressOf }),
    // What this machine does without a key outside production is not limited.
    work: limit(1_200, MINUTE, { keyGenerator: byActor, skip: ({ actor }) => actor?.kind === 'local' }),
    page: limit(240, MINUTE, { keyGenerator: addressOf }),
    failures: new FailureLimit(now),
    refusedCalls: new FailureLimit(now),
  }
}

type Options = Pick<NonNullable<Parameters<typeof rateLimit>[0]>, 'keyGenerator' | 'skip'>

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

function byActor(request: Request): string {
  return request.actor ? `${request.actor.kind} ${request.actor.id}` : addressOf(request)
}
