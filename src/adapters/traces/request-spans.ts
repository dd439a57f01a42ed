import type { RequestHandler } from 'express'
import type { Traces } from '../../flows/ports/traces.ts'
import { isQuiet, routeOf } from '../log/request-log.ts'

/**
 * Each request as a step: by the pattern of its address, never the address itself, which may be a secret, and nothing
 * of what it carries.
 */
export function requestSpans(traces: Traces): RequestHandler {
  return (request, response, next) => {
    if (isQuiet(request)) return next()
    const asked = { method: request.method, traceparent: request.get('traceparent') }
    void traces.span('request', asked, async (note) => {
      const closed = new Promise((done) => response.once('close', done))
      next()
      await closed
      const route = routeOf(request)
      const { statusCode: status, locals } = response
      const problem = typeof locals.code === 'string' ? locals.code : undefined
      note({
        ...(route !== undefined && { route }),
        ...(response.writableFinished && { status }),
        ...(problem !== undefined && { problem }),
        // By the conventions what the caller did wrong is no error of the server.
        ...(status >= 500 && { error: problem ?? String(status) }),
      })
    })
  }
}
