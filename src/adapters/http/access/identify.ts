import type { Request, RequestHandler } from 'express'
import { ALL_PERMISSIONS, type Actor, type Role } from '../../../domain/access/roles.ts'
import { Failure } from '../../../domain/failure.ts'
import { actorOfKey } from '../../sign-in/api-keys.ts'
import type { AccessDeps } from '../../sign-in/people.ts'
import type { Provider } from '../../sign-in/oidc.ts'
import { sameSecret } from '../../sign-in/same-secret.ts'
import { actorOf, personOf } from '../../sign-in/sign-in.ts'
import { onlyOwnForms } from '../own-forms.ts'
import type { SessionCookie } from './cookies.ts'

/** How people and programs sign in. */
export interface GateSettings {
  /** DAYSIX_API_KEY: the administrator's key from the environment. */
  apiKey: string | undefined
  /** What this machine may use without signing in; never in production. */
  open: { api: boolean; pages: boolean }
  idleMs: number
  /** People reach the service over TLS: cookies are for that only. */
  secure: boolean
  /** Proxies in front whose word on the caller's address is taken. */
  proxies: number
  /** Who answers urgent replies outside the desk's hours. */
  cover: string | null
  /** Signs people in elsewhere; missing without an identity provider. */
  provider?: Provider
}

/** The key of the environment may do everything, as it always could. */
const ENVIRONMENT: Actor = {
  kind: 'key',
  id: 'environment',
  name: 'API key',
  role: 'administrator',
  may: ALL_PERMISSIONS,
  clinicId: null,
  clinician: null,
}
const LOCAL: Actor = {
  kind: 'local',
  id: 'local',
  name: 'desk',
  role: 'administrator',
  may: ALL_PERMISSIONS,
  clinicId: null,
  clinician: null,
}

/**
 * Says who makes the request: by key, by session, or as this machine where that is open. A wrong key is refused, never
 * passed over. A session counts for changes only when the request comes from a page of ours.
 */
export function identifyActor(
  deps: AccessDeps,
  settings: GateSettings,
  cookie: SessionCookie,
  door: 'api' | 'pages',
): RequestHandler {
  return async (request, response, next) => {
    const header = request.get('Authorization')
    if (header !== undefined) {
      take(request, await byKey(deps, settings, header))
      return next()
    }
    const token = cookie.read(request)
    const person = token === null ? null : await personOf(deps, token, settings.idleMs)
    if (person) {
      take(request, actorOf(person))
      return onlyOwnForms(request, response, next)
    }
    if (settings.open[door] && isThisMachine(request)) take(request, LOCAL)
    next()
  }
}

async function byKey(deps: AccessDeps, { apiKey }: GateSettings, header: string): Promise<Actor> {
  const secret = header.replace(/^Bearer /, '')
  if (apiKey !== undefined && sameSecret(header, `Bearer ${apiKey}`)) return ENVIRONMENT
  const actor = await actorOfKey(deps, secret)
  if (actor) return actor
  throw new Failure('unauthorized', {
    field: 'Authorization',
    message: 'This key is wrong, revoked or expired. Send a good one as "Authorization: Bearer …".',
  })
}

function take(request: Request, actor: Actor): void {
  const { id, name, role, clinicId, clinician } = actor
  request.actor = actor
  request.person = { id, name, role, clinicId, clinician }
}

/**
 * Both the name it is called by and the address it comes from: a page of another site cannot get here by DNS tricks.
 */
function isThisMachine(request: Request): boolean {
  const names = ['localhost', '127.0.0.1', '[::1]', '::1']
  const address = request.socket.remoteAddress ?? ''
  return names.includes(request.hostname) && ['127.0.0.1', '::1', '::ffff:127.0.0.1'].includes(address)
}

declare module 'express-serve-static-core' {
  interface Request {
    actor?: Actor
    /** Who is at the page, for pages to name and to filter by. */
    person?: { id: string; name: string; role: Role; clinicId: string | null; clinician: string | null }
  }
}
