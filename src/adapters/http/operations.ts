import { Router, type RequestHandler } from 'express'
import type { Metrics } from '../metrics/metrics.ts'
import { isOfDatabase } from './problem.ts'

/** Whether each store answers, by name. */
export type Readiness = Record<string, boolean>

export interface OperationsOptions {
  ready: () => Promise<Readiness>
  /** Whether any language may be sent. Without one it is ready all the same: texts are approved on its pages. */
  sends: () => boolean
  metrics?: Metrics
  /** Lets through whoever may see the metrics. */
  mayMeasure: RequestHandler
}

/**
 * For those who run the service: whether it lives, whether it is ready for work, and what it measures. Metrics need a
 * key that may `metrics:read`; health needs none, and tells nothing but yes or no.
 */
export function operations({ ready, sends, metrics, mayMeasure }: OperationsOptions): Router {
  const router = Router()
  if (metrics) router.use(timing(metrics))
  router.get('/health/live', (_request, response) => void response.json({ live: true }))
  router.get('/health/ready', async (_request, response) => {
    const stores = await ready()
    const isReady = Object.values(stores).every(Boolean)
    response.status(isReady ? 200 : 503).json({ ready: isReady, ...stores, ...(!sends() && { sends: false }) })
  })
  if (metrics)
    router.get('/metrics', mayMeasure, async (_request, response) => {
      response.type(metrics.contentType).send(await metrics.text())
    })
  return router
}

/** By the pattern of the route, never by the address itself: that may hold an id. */
function timing(metrics: Metrics): RequestHandler {
  return (request, response, next) => {
    const began = performance.now()
    response.once('finish', () => {
      const route = request.route ? `${request.baseUrl}${(request.route as { path: unknown }).path as string}` : 'none'
      metrics.answered(
        { method: request.method, route, status: isOfDatabase(response) ? 'away' : response.statusCode },
        (performance.now() - began) / 1000,
      )
    })
    next()
  }
}
