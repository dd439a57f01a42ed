import express, { Router, type Request, type RequestHandler } from 'express'
import { Failure } from '../../../domain/failure.ts'
import { createAuditor } from '../../../flows/access/audit.ts'
import type { AccessDeps } from '../../sign-in/people.ts'
import { authorise } from './authorise.ts'
import { carryForms } from './carried-form.ts'
import { SessionCookie } from './cookies.ts'
import { identifyActor, stillIn, type GateSettings } from './identify.ts'
import type { RuleFor } from './rules.ts'
import { createLimits, type Limits } from './limits.ts'
import { LARGEST_FORM, MOST_FIELDS } from '../desk/form-limits.ts'

/** Everything that stands between a request and what it asks for. */
export interface Gate {
  deps: AccessDeps
  settings: GateSettings
  cookie: SessionCookie
  limits: Limits
  /** Who is it? Before the body is read. */
  authenticateApi: RequestHandler
  /** May they? Once the body is known. */
  authorize: RequestHandler
  /** Both, for pages: reads forms, sends whoever is not signed in to the sign-in page. */
  pages: RequestHandler
  /** Only who it is, where they are signed in: for what everybody may see. */
  known: RequestHandler
  /** Whether whoever asked may still go on: for answers that stay open. */
  stillIn: (request: Request) => Promise<boolean>
}

/** Where nothing is said otherwise: open to this machine by its local names, as long as no key is set. */
export function usualSettings(apiKey: string | undefined): GateSettings {
  const open = apiKey === undefined
  return { apiKey, open: { api: open, pages: open }, idleMs: 30 * 60_000, secure: false, proxies: 0, cover: null }
}

/** @param ruleFor who may do what; see `createRules` */
export function createGate(deps: AccessDeps, settings: GateSettings, ruleFor: RuleFor): Gate {
  const cookie = new SessionCookie(settings.secure)
  const limits = createLimits(() => deps.clock.now())
  const record = createAuditor(deps.access)
  const door = { deps, settings, cookie, record, failures: limits.failures }
  const authorize = authorise({ ...deps, record, ruleFor })
  const known = identifyActor(door, 'pages')
  const pages = Router()
  pages.use('/assets', (_request, _response, next) => next('router'))
  pages.use(known, limits.work)
  pages.use(carryForms(settings.provider !== undefined), toSignIn, toOwnClinic)
  pages.use(express.urlencoded({ extended: false, limit: LARGEST_FORM, parameterLimit: MOST_FIELDS }), authorize)
  const authenticateApi = Router().use(identifyActor(door, 'api'), limits.work, refuseNobody)
  const open = { stillIn: (request: Request) => stillIn(door, request) }
  return { deps, settings, cookie, limits, authenticateApi, authorize, pages, known, ...open }
}

/** Lets through whoever may see what the service measures, and nobody else. */
export function mayMeasure(gate: Gate): RequestHandler {
  return Router().use(gate.authenticateApi, ({ actor }, _response, next) =>
    next(
      actor!.may.includes('metrics:read')
        ? undefined
        : new Failure('forbidden', { message: 'This asks for the permission metrics:read.' }),
    ),
  )
}

/** Nobody's bodies are not even read. */
const refuseNobody: RequestHandler = (request, response, next) => {
  // Answers are about patients: nothing in between may keep them.
  response.set('Cache-Control', 'no-store')
  if (request.actor) return next()
  next(
    new Failure('unauthorized', {
      field: 'Authorization',
      message: 'Send the API key as "Authorization: Bearer …", or sign in.',
    }),
  )
}

/** A person is shown where to sign in; a script or a form is told that it is not. */
const toSignIn: RequestHandler = (request, response, next) => {
  if (request.actor) return next()
  const navigates = request.method === 'GET' && request.accepts(['html', 'text/event-stream']) === 'html'
  if (!navigates)
    return next(new Failure('unauthorized', { message: 'You are not signed in, or not any more. Open /sign-in.' }))
  response.redirect(303, `/sign-in?to=${encodeURIComponent(request.originalUrl)}`)
}

/** Somebody tied to a clinic has no list of clinics to choose from. */
const toOwnClinic: RequestHandler = (request, response, next) => {
  const { actor } = request
  if (request.originalUrl.split('?', 1)[0] !== '/desk' || !actor || actor.clinicId === null) return next()
  response.redirect(
    303,
    `/desk/${encodeURIComponent(actor.clinicId)}/${actor.role === 'clinician' ? 'day-sheet' : 'bookings'}`,
  )
}
