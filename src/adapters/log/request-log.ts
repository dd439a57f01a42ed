import type { Request, RequestHandler, Response } from 'express'
import type { Level, Logger } from 'pino'

/** Asked for again and again by machines and by every page: only worth a line when something is wrong. */
const QUIET = /^\/(health|metrics)|\/assets\//

/**
 * One line for each request once it is answered, or once whoever asked has gone. Never its address: that may be a
 * secret.
 */
export function requestLog(log: Logger): RequestHandler {
  return (request, response, next) => {
    const began = performance.now()
    response.once('close', () => {
      const ms = Math.round(performance.now() - began)
      const said = response.writableFinished ? { status: response.statusCode, ...codeOf(response) } : {}
      log[levelOf(request, response)](
        { request: request.id, method: request.method, route: routeOf(request) ?? 'none', ...said, ms },
        response.writableFinished ? 'answered' : 'broken off',
      )
    })
    next()
  }
}

/** What the answer says went wrong, in a word of ours. */
function codeOf({ locals }: Response): { code?: string; cause?: string } {
  const word = (name: 'code' | 'cause') => (typeof locals[name] === 'string' ? { [name]: locals[name] } : {})
  return { ...word('code'), ...word('cause') }
}

/** Whether nobody wants to hear of it as long as it is well. */
export const isQuiet = ({ originalUrl }: Request): boolean => QUIET.test(originalUrl)

function levelOf(request: Request, { statusCode }: Response): Level {
  // Whoever breaks off what they send must not be able to fill the log.
  if (isQuiet(request) || !request.complete) return 'debug'
  return statusCode >= 500 ? 'warn' : 'info'
}

/**
 * The pattern, e.g. `/api/v1/bookings/:id`; what lies before the last router is lost where an error was passed on.
 * @returns undefined where none fits
 */
export function routeOf({ route, baseUrl }: Request): string | undefined {
  return route ? `${baseUrl}${(route as { path: string }).path}` : undefined
}
