import { Router, type Request, type RequestHandler } from 'express'
import type { Metrics } from '../metrics/metrics.ts'
import { sameSecret } from '../sign-in/same-secret.ts'
import { Failure } from '../../domain/failure.ts'

/** Whether each store answers, by name. */
export type Readiness = Record<string, boolean>

export interface OperationsOptions {
  ready: () => Promise<Readiness>
  /** Whether any language may be sent. Without one it is ready all the same: texts are approved on its pages. */
  sends: () => boolean
  metrics?: Metrics
  apiKey: string | undefined
}

/**
 * For those who run the service: whether it lives, whether it is ready for work, and what it measures. Metrics need the
 * key like the API; health does not, and tells nothing but yes or no.
 */
export function operations({ ready, sends, metrics, apiKey }: OperationsOptions): Router {
  const router = Router()
  if (metrics) router.use(timing(metrics))
  router.get('/health/live', (_request, response) => void response.json({ live: true }))
  router.get('/health/ready', async (_request, response) => {
    const stores = await ready()
    const isReady = Object.values(stores).every(Boolean)
    response.status(isReady ? 200 : 503).json({ ready: isReady, ...stores, ...(!sends() && { sends: false }) })
  })
  router.get('/metrics', async (request, response, next) => {
    if (!metrics) return next()
    if (!mayLook(request, apiKey))
      throw new Failure('unauthorized', {
        field: 'Authorization',
        message: 'Send the API key as "Authorization: Bearer …".',
      })
    response.type(metrics.contentType).send(await metrics.text())
  })
  return router
}

/**
 * Whoever has the key; without one the service listens on the machine itself only, and must be named as a local one.
 */
function mayLook(request: Request, apiKey: string | undefined): boolean {
  if (apiKey !== undefined) return sameSecret(request.get('Authorization') ?? '', `Bearer ${apiKey}`)
  return ['localhost', '127.0.0.1', '[::1]', '::1'].includes(request.hostname)
}

/** By the pattern of the route, never by the address itself: that may hold an id. */
function timing(metrics: Metrics): RequestHandler {
  return (request, response, next) => {
    const began = performance.now()
    response.once('finish', () => {
      const route = request.route ? `${request.baseUrl}${(request.route as { path: unknown }).path as string}` : 'none'
      metrics.answered(
        { method: request.method, route, status: response.statusCode },
        (performance.now() - began) / 1000,
      )
    })
    next()
  }
}
