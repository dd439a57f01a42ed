import type { Request, RequestHandler, Response } from 'express'
import { ALL_PERMISSIONS, type Actor, type Role } from '../../../domain/access/roles.ts'
import { Failure } from '../../../domain/failure.ts'
import { actorOfKey } from '../../sign-in/api-keys.ts'
import type { AccessDeps } from '../../sign-in/people.ts'
import type { Provider } from '../../sign-in/oidc.ts'
import { sameSecret } from '../../vault/same-secret.ts'
import { actorOf, personOf, sessionHolds } from '../../sign-in/sign-in.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { byNobody, type Auditor } from '../../../flows/access/audit.ts'
import type { SessionCookie } from './cookies.ts'
import { addressOf, type FailureLimit } from './failure-limit.ts'

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
export function identifyActor(door: Door, place: 'api' | 'pages'): RequestHandler {
  const { deps, settings, cookie } = door
  return async (request, response, next) => {
    const header = request.get('Authorization')
    if (header !== undefined) {
      take(request, await byKey(door, header, request, response))
      return next()
    }
    const token = cookie.read(request)
    const person = token === null ? null : await personOf(deps, token, settings.idleMs)
    if (person) {
      take(request, actorOf(person))
      return onlyOwnForms(request, response, next)
    }
    if (settings.open[place] && isThisMachine(request)) take(request, LOCAL)
    next()
  }
}

/** What stands behind every door. */
export interface Door {
  deps: AccessDeps
  settings: GateSettings
  cookie: SessionCookie
  record: Auditor
  failures: FailureLimit
}

/** Wrong keys are counted and put on record; an address with too many is not even looked at. */
async function byKey(door: Door, header: string, request: Request, response: Response): Promise<Actor> {
  door.failures.check(request, response)
  const actor = await actorOfHeader(door, header)
  if (actor) return actor
  const address = addressOf(request)
  door.failures.add(address)
  await door.record(byNobody(door.deps.clock.now(), 'key-refused', { address, request: request.id }))
  throw new Failure('unauthorized', {
    field: 'Authorization',
    message: 'This key is wrong, revoked or expired. Send a good one as "Authorization: Bearer …".',
  })
}

async function actorOfHeader({ deps, settings: { apiKey } }: Door, header: string): Promise<Actor | null> {
  if (apiKey !== undefined && sameSecret(header, `Bearer ${apiKey}`)) return ENVIRONMENT
  return actorOfKey(deps, header.replace(/^Bearer /, ''))
}

/** Whether somebody who was let in would still be: signing out, a new password and time end what stays open. */
export async function stillIn(door: Door, request: Request): Promise<boolean> {
  const { actor } = request
  if (!actor || actor.kind === 'local') return actor !== undefined
  if (actor.kind === 'key') return (await actorOfHeader(door, request.get('Authorization') ?? '')) !== null
  const token = door.cookie.read(request)
  return token !== null && (await sessionHolds(door.deps, token, door.settings.idleMs))
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
