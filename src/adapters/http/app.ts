import express, { type Express, type RequestHandler } from 'express'
import helmet from 'helmet'
import type { Logger } from 'pino'
import { Failure } from '../../domain/failure.ts'
import type { Deps } from '../../flows/ports.ts'
import { requireKey } from './access.ts'
import { API_BASE, api } from './api/api.ts'
import { desk } from './desk/desk.ts'
import { startPage } from './desk/start-page.ts'
import type { NewsDesk } from './news.ts'
import { STYLE_SHEET } from './pages/style-sheet.ts'
import { patientRouter, type PatientPages } from './patient-router.ts'
import { problemHandler } from './problem.ts'
import { webhooks } from './webhooks.ts'

export interface AppOptions {
  deps: Deps
  log: Logger
  news: NewsDesk
  patientPages: PatientPages
  /** Required as bearer token where set. */
  apiKey: string | undefined
  /** More pages, e.g. the simulated phones of the demo. */
  extra?: express.Router
  /** Says whether the stores answer. */
  ready: () => Promise<boolean>
}

const LARGEST_BODY = '64kb'

/** The whole HTTP service: API, webhooks, health, pages. */
export function createApp({ deps, log, news, patientPages, apiKey, extra, ready }: AppOptions): Express {
  const app = express()
  app.disable('x-powered-by')
  app.set('query parser', 'simple')
  app.use(helmet({ contentSecurityPolicy: { useDefaults: false, directives: CONTENT_POLICY } }))
  app.use(identify(deps))
  app.get('/health/live', (_request, response) => void response.json({ live: true }))
  app.get('/health/ready', async (_request, response) => {
    const isReady = await ready().catch(() => false)
    response.status(isReady ? 200 : 503).json({ ready: isReady })
  })
  app.use('/gateways', webhooks(deps))
  app.use(API_BASE, requireKey(apiKey), refuseOtherBodies, express.json({ limit: LARGEST_BODY, type: 'application/json' }), api(deps))
  app.use('/v', patientRouter(deps, patientPages))
  app.get('/assets/daysix.css', (_request, response) => response.sendFile(STYLE_SHEET))
  app.get('/', startPage(extra !== undefined))
  app.use('/desk', requireKey(apiKey), desk(deps, news, log))
  if (extra) app.use(extra)
  app.use((_request, _response, next) => next(new Failure('not-found', { message: 'There is nothing at this address.' })))
  app.use(problemHandler(log))
  return app
}

/** No scripts but our own files, nothing from elsewhere, no framing. */
const CONTENT_POLICY = {
  'default-src': ["'none'"],
  'script-src': ["'self'"],
  'style-src': ["'self'"],
  'img-src': ["'self'", 'data:'],
  'connect-src': ["'self'"],
  'form-action': ["'self'"],
  'base-uri': ["'none'"],
  'frame-ancestors': ["'none'"],
}

function identify(deps: Deps): RequestHandler {
  return (request, response, next) => {
    request.id = deps.newId('q')
    response.set('X-Request-Id', request.id)
    next()
  }
}

/** A body in another format is refused, not taken for an empty one. */
const refuseOtherBodies: RequestHandler = (request, _response, next) => {
  const hasBody = Number(request.get('Content-Length') ?? 0) > 0 || request.get('Transfer-Encoding') !== undefined
  if (!hasBody || request.is('application/json')) return next()
  next(new Failure('not-json', { field: 'Content-Type', message: 'Send JSON with "Content-Type: application/json".' }))
}

declare module 'express-serve-static-core' {
  interface Request {
    id: string
  }
}
