import type { Request, RequestHandler } from 'express'
import { Failure } from '../../domain/failure.ts'

/** Setting of the app: people reach it over TLS, so that a page without is none of ours. */
export const OVER_TLS = 'people come over TLS'
const READING = new Set(['GET', 'HEAD', 'OPTIONS'])

/**
 * Lets a form through only from a page of this very site. Browsers say where a request comes from (`Sec-Fetch-Site`,
 * Fetch Metadata; `Origin`, RFC 6454), and no page can forge either; without both, nobody vouches for it and it is
 * refused.
 */
export const onlyOwnForms: RequestHandler = (request, _response, next) => {
  if (READING.has(request.method) || isOurs(request)) return next()
  next(
    new Failure('unauthorized', {
      message: 'This form was sent from another site. Open the page here and send it again.',
    }),
  )
}

function isOurs(request: Request): boolean {
  const site = request.get('Sec-Fetch-Site')
  if (site !== undefined) return site === 'same-origin' || site === 'none'
  const origin = request.get('Origin')
  if (origin === undefined || !URL.canParse(origin)) return false
  const { protocol, host } = new URL(origin)
  return host === request.get('Host') && (protocol === 'https:' || request.app.get(OVER_TLS) !== true)
}
