import express, { type Express, type RequestHandler } from 'express'
import helmet from 'helmet'
import type { Logger } from 'pino'
import { Failure } from '../../domain/failure.ts'
import { anythingGoesOut } from '../../flows/messages/approved-texts.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import { forRequest } from '../log/log.ts'
import { requestLog } from '../log/request-log.ts'
import { requestSpans } from '../traces/request-spans.ts'
import type { Wording } from '../templates/load-wording.ts'
import type { Metrics } from '../metrics/metrics.ts'
import { PAGE_RULES, createRules } from './access/rules.ts'
import { createGate, mayMeasure, usualSettings } from './access/gate.ts'
import type { GateSettings } from './access/identify.ts'
import { API_BASE, api, apiRoutes, apiRules } from './api/api.ts'
import { desk } from './desk/desk.ts'
import { firstPlace } from './settings/set-up-page.ts'
import { settings } from './settings/settings.ts'
import { troublePage } from './desk/trouble-page.ts'
import { startPage } from './desk/start-page.ts'
import type { ChangeFeed } from './change-feed.ts'
import { accountPages } from './access/account-pages.ts'
import { plainTrouble } from './access/access-page.ts'
import { cautionsPage } from './pages/cautions.ts'
import { elsewherePages } from './access/sign-in-elsewhere.ts'
import { signInPages } from './access/sign-in-pages.ts'
import { STYLE_SHEET } from './pages/style-sheet.ts'
import { refuseDeep } from './json-depth.ts'
import { operations, type Readiness } from './operations.ts'
import { OVER_TLS } from './own-forms.ts'
import { calendars } from './schedule/calendars.ts'
import { messageBodies } from './schedule/feed-routes.ts'
import { fhirBodies } from './schedule/fhir/bodies.ts'
import { patientRouter } from './private-page/patient-router.ts'
import { problemHandler } from './problem.ts'
import { webhooks } from './messages/webhooks.ts'

export interface AppOptions {
  deps: Deps
  log: Logger
  news: ChangeFeed
  wording: Wording
  /** Required as bearer token where set. */
  apiKey: string | undefined
  /** How people and programs sign in; by default the API key, or open to this machine without one. */
  authSettings?: GateSettings
  /** More pages, which may take the place of the first one: those of the demo. */
  extra?: express.Router
  /** Says of each store whether it answers. */
  ready: () => Promise<Readiness>
  metrics?: Metrics
}

const LARGEST_BODY = '64kb'

/** The whole HTTP service: API, webhooks, health, pages. */
export function createApp(options: AppOptions): Express {
  const { deps, log, news, wording, authSettings = usualSettings(options.apiKey), extra, ready, metrics } = options
  const app = express()
  const routes = apiRoutes(deps)
  const gate = createGate(deps, authSettings, createRules([...apiRules(routes), ...PAGE_RULES]))
  app.disable('x-powered-by')
  app.set('query parser', 'simple')
  app.set('trust proxy', authSettings.proxies)
  app.set(OVER_TLS, authSettings.secure)
  app.use(helmet({ contentSecurityPolicy: { useDefaults: false, directives: CONTENT_POLICY } }))
  app.use(identify(deps), requestLog(log))
  if (deps.traces.on) app.use(requestSpans(deps.traces))
  const sends = () => anythingGoesOut(deps.approvedTexts)
  app.use(operations({ ready, sends, mayMeasure: mayMeasure(gate), ...(metrics && { metrics }) }))
  app.use('/gateways', webhooks(deps, gate.limits.refusedCalls))
  app.use(
    API_BASE,
    gate.authenticateApi,
    messageBodies,
    fhirBodies,
    refuseOtherBodies,
    express.json({ limit: LARGEST_BODY, type: 'application/json', verify: refuseDeep }),
    gate.authorize,
    api(routes),
  )
  if (authSettings.provider) app.use(elsewherePages(gate, authSettings.provider))
  app.use(
    signInPages(gate, (person) => firstPlace(deps, person)),
    accountPages(gate, deps.seals),
    cautionsPage(authSettings.cover),
  )
  app.use('/v', gate.limits.page, patientRouter(deps, wording))
  app.use('/calendars', gate.limits.page, calendars(deps))
  app.get('/assets/daysix.css', (_request, response) => response.sendFile(STYLE_SHEET))
  if (extra) app.use(extra)
  app.get('/', gate.known, startPage(deps), plainTrouble)
  app.use('/desk', gate.pages, desk(deps, news, wording, gate.stillIn))
  app.use('/settings', gate.pages, settings(deps, wording))
  app.use(['/desk', '/settings'], troublePage(log))
  app.use((_request, _response, next) =>
    next(new Failure('not-found', { message: 'There is nothing at this address.' })),
  )
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

/** Every request has an id of ours; whoever asked is told, and so is every line of the log. */
function identify(deps: Deps): RequestHandler {
  return (request, response, next) => {
    request.id = deps.newId('q')
    response.set('X-Request-Id', request.id)
    forRequest(request.id, next)
  }
}

/** A body in another format is refused, not taken for an empty one. */
const refuseOtherBodies: RequestHandler = (request, _response, next) => {
  const hasBody = Number(request.get('Content-Length') ?? 0) > 0 || request.get('Transfer-Encoding') !== undefined
  if (!hasBody || request.messages || request.is('application/json')) return next()
  next(new Failure('not-json', { field: 'Content-Type', message: 'Send JSON with "Content-Type: application/json".' }))
}

declare module 'express-serve-static-core' {
  interface Request {
    id: string
  }
}
