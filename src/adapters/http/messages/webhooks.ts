import express, { Router, type Request } from 'express'
import { Failure } from '../../../domain/failure.ts'
import type { Callback, CallbackGateway } from '../../../flows/ports/gateway.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

const LARGEST_CALLBACK = '64kb'

/**
 * Receipts, replies and calls of gateways that speak HTTP, at `/gateways/NAME/receipt`, `…/reply` and `…/call`. The
 * bytes are handed on as they came, since signatures are over bytes; the gateway authenticates them itself.
 */
export function webhooks(deps: Deps): Router {
  const router = Router()
  router.all('/:name/:path', express.raw({ type: () => true, limit: LARGEST_CALLBACK }), async (request, response) => {
    const gateway = deps.gateways.get(request.params.name!)
    const { path } = request.params
    if (!gateway || !('callback' in gateway) || !isPath(path)) {
      throw new Failure('not-found', { message: 'No gateway takes calls at this address.' })
    }
    const answer = await (gateway as CallbackGateway).callback(toCallback(request, path))
    response.status(answer.status)
    if (answer.contentType) response.type(answer.contentType)
    response.end(answer.body)
  })
  return router
}

/** What came of a message, what the patient wrote, or what the telephone asks for during a call. */
function isPath(path: string | undefined): path is Callback['path'] {
  return path === 'receipt' || path === 'reply' || path === 'call'
}

function toCallback(request: Request, path: Callback['path']): Callback {
  return {
    path,
    method: request.method,
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
