import express, { Router, type Request, type Response } from 'express'
import { Failure } from '../../../domain/failure.ts'
import { addressOf, type FailureLimit } from '../access/failure-limit.ts'
import type { Callback, CallbackGateway } from '../../../flows/ports/gateway.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

/** Refused calls of an address are not told apart any more once they are too many. */
type Refusals = Pick<FailureLimit, 'add' | 'check'>

const LARGEST_CALLBACK = '64kb'

/**
 * Receipts, replies and calls of gateways that speak HTTP, at `/gateways/NAME/receipt`, `…/reply` and `…/call`. The
 * bytes are handed on as they came, since signatures are over bytes; the gateway authenticates them itself.
 * @param refusals counts what gateways refuse. A good call is never limited, whatever else came from its address.
 */
export function webhooks(deps: Deps, refusals: Refusals): Router {
  const router = Router()
  router.all('/:name/:path', express.raw({ type: () => true, limit: LARGEST_CALLBACK }), async (request, response) => {
    const gateway = deps.gateways.get(request.params.name!)
    const { path } = request.params
    if (!gateway || !('callback' in gateway) || !isPath(path)) {
      refuse(request, response)
      throw new Failure('not-found', { message: 'No gateway takes calls at this address.' })
    }
    const answer = await (gateway as CallbackGateway).callback(toCallback(request, path))
    if (answer.status >= 400 && answer.status < 500) refuse(request, response)
    response.status(answer.status)
    if (answer.contentType) response.type(answer.contentType)
    response.end(answer.body)
  })
  return router

  /** @throws slow-down in place of the answer, once there are too many */
  function refuse(request: Request, response: Response): void {
    refusals.check(request, response)
    refusals.add(addressOf(request))
  }
}

/** What came of a message, what the patient wrote, or what the telephone asks for during a call. */
function isPath(path: string | undefined): path is Callback['path'] {
  return path === 'receipt' || path === 'reply' || path === 'call'
}

function toCallback(request: Request, path: Callback['path']): Callback {
  return {
    path,
    method: request.method,
    url: request.originalUrl,
    query: strings(request.query),
    headers: strings(request.headers),
    body: Buffer.isBuffer(request.body) ? request.body : Buffer.alloc(0),
  }
}

/** Repeated fields are joined by commas, as HTTP does with headers. */
function strings(fields: Record<string, unknown>): Record<string, string> {
  return Object.fromEntries(
    Object.entries(fields).map(([key, value]) => [key, Array.isArray(value) ? value.join(',') : String(value ?? '')]),
  )
}
