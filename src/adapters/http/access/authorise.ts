import type { NextFunction, Request, RequestHandler, Response } from 'express'
import type { Actor } from '../../../domain/access/roles.ts'
import { Failure } from '../../../domain/failure.ts'
import type { AccessStore, AuditEntry } from '../../../flows/ports/access.ts'
import type { Auditor } from '../../../flows/access/audit.ts'
import { clinicsNamed } from '../schedule/fhir/address.ts'
import { holdBack } from './hold-back.ts'
import type { Rule, RuleFor } from './rules.ts'
import { SeenLately } from './seen-lately.ts'
import { idNamedBy, idsIn, shownBesides, subjectsOf } from './shown-subjects.ts'

export interface AuthoriseDeps {
  access: AccessStore
  clock: { now(): Date }
  record: Auditor
  ruleFor: RuleFor
}

/** Ids of ours say by their first letter what they are. */
const ID = /^[a-z]_[0-9a-z]{1,40}$/
/** Of what was asked for, this much is kept in the record; never what somebody typed to search or write. */
const KEPT_FIELDS = ['clinic', 'day', 'from', 'to', 'state', 'clinician', 'date']

/**
 * Lets through whoever may do what the address asks for, at the clinic it concerns. Nothing is shown or changed that is
 * not on record: a change is written down before it is made, and whom an answer shows before it leaves. What is refused
 * to somebody known is on record too.
 */
export function authorise(deps: AuthoriseDeps): RequestHandler {
  const lately = new SeenLately(() => deps.clock.now())
  return async (request, response, next) => {
    const found = deps.ruleFor(request.method, pathOf(request))
    if (!found) throw nothingHere()
    const { rule, params } = found
    if (rule.may === 'anyone') return next()
    refuseNul(request)
    const actor = request.actor
    if (!actor)
      throw new Failure('unauthorized', {
        field: 'Authorization',
        message: 'Sign in, or send an API key as "Authorization: Bearer …".',
      })
    const asked = { actor, rule, params, request, ids: namedIds(params, request) }
    const refusal = await refusalOf(deps.access, asked)
    if (refusal) await deps.record(entryOf(deps, asked, asked.ids, { refused: refusal.code }))
    else if (!rule.quiet) await recorded({ ...deps, lately }, asked, response, next)
    next(refusal)
  }
}

/** Whoever only looks: whom they see is known once the answer is there. */
const LOOKS = ['GET', 'HEAD']

/** A change is written down now; the answer waits until whom it shows is written down. */
async function recorded(
  deps: AuthoriseDeps & { lately: SeenLately },
  asked: Asked,
  response: Response,
  next: NextFunction,
): Promise<void> {
  const { access, record, lately } = deps
  const { ids, rule, request } = asked
  const isFirst = rule.idsOnly === true || !LOOKS.includes(request.method)
  const known = isFirst ? await subjectsOf(access, ids, []) : []
  if (isFirst) await record(entryOf(deps, asked, known))
  if (rule.idsOnly) return
  const write = async (body: string) => {
    const shown = [...idsIn(body), ...shownBesides(response)]
    if (!isFirst) {
      const subjects = await subjectsOf(access, ids, shown)
      const address = `${asked.actor.kind} ${asked.actor.id} ${request.originalUrl}`
      if (refreshesItself(request) && lately.newTo(address, subjects).length === 0) return
      await record(entryOf(deps, asked, subjects))
      return lately.note(address, subjects)
    }
    const isNew = (id: string) => !known.includes(id)
    if (!shown.some(isNew)) return
    const more = (await subjectsOf(access, [], shown)).filter(isNew)
    if (more.length > 0) await record(entryOf(deps, asked, more, { shown: true }))
  }
  holdBack(response, write, next)
}

/** An open page asks for its own part again, when something has changed. */
const refreshesItself = (request: Request) => request.get('HX-Request') === 'true'

interface Asked {
  actor: Actor
  rule: Rule
  params: Record<string, string>
  request: Request
  ids: string[]
}

async function refusalOf(
  access: AccessStore,
  { actor, rule, params, request, ids }: Asked,
): Promise<Failure | undefined> {
  if (rule.may !== 'signed-in' && rule.may !== 'anyone' && !actor.may.includes(rule.may))
    return new Failure('forbidden', { message: `This asks for the permission ${rule.may}.` })
  return actor.clinicId === null ? undefined : strayed(access, actor, actor.clinicId, rule, params, request, ids)
}

/** No text has this sign, and PostgreSQL takes it for a fault. @throws bad-input */
function refuseNul(request: Request): void {
  const inBody = request.body !== undefined && JSON.stringify(request.body).includes('\\u0000')
  if (inBody || request.originalUrl.includes('%00'))
    throw new Failure('bad-input', { message: 'Leave out the sign with code 0: it is part of no text.' })
}

const nothingHere = () => new Failure('not-found', { message: 'There is nothing at this address.' })

function pathOf(request: Request): string {
  return request.originalUrl.split('?', 1)[0]!
}

/** Every id of ours in the address, the query or the body's first level. */
function namedIds(params: Record<string, string>, request: Request): string[] {
  const parts = pathOf(request).split('/')
  const values = [
    ...Object.values(params),
    ...parts,
    ...Object.values(request.query),
    ...Object.values((request.body ?? {}) as object),
  ].flat()
  const plain = values.flatMap((value: unknown) => (typeof value === 'string' ? idNamedBy(value) : []))
  return [...new Set(plain.filter((value) => ID.test(value)))]
}

/** What to answer somebody tied to a clinic: forbidden for another one named, not-found for what belongs to another. */
async function strayed(
  access: AccessStore,
  { clinician }: Actor,
  clinicId: string,
  rule: Rule,
  params: Record<string, string>,
  request: Request,
  ids: string[],
): Promise<Failure | undefined> {
  const body = (request.body ?? {}) as Record<string, unknown>
  const places = clinicsNamed(request.query.location)
  const named = [params.clinic, request.query.clinic, ...places, body.clinic]
    .flat()
    .filter((value) => value !== undefined)
  if (rule.everywhere || named.some((value) => value !== clinicId))
    return new Failure('forbidden', { field: 'clinic', message: 'This is about another clinic than yours.' })
  if (rule.namesClinic && named.length === 0)
    return new Failure('forbidden', { field: 'clinic', message: 'Name your own clinic.' })
  const list = [request.query.clinician, body.clinician].flat().filter((value) => value !== undefined)
  if (clinician !== null && list.some((value) => value !== clinician))
    return new Failure('forbidden', { field: 'clinician', message: 'This is another list than yours.' })
  for (const id of ids) {
    const clinics = await access.read.whereabouts.clinicsOf(id)
    if (clinics.length > 0 && !clinics.includes(clinicId) && !clinics.includes(null))
      return new Failure('not-found', { message: 'There is no such record.' })
  }
  return undefined
}

function entryOf(
  { clock }: AuthoriseDeps,
  { actor, rule, params, request }: Asked,
  subjects: string[],
  more: Record<string, unknown> = {},
): AuditEntry {
  const query = request.query as Record<string, unknown>
  const facts = Object.fromEntries(
    KEPT_FIELDS.flatMap((name) => (typeof query[name] === 'string' ? [[name, query[name].slice(0, 40)]] : [])),
  )
  const [place = actor.clinicId] = clinicsNamed(query.location)
  const clinicId = params.clinic ?? (typeof query.clinic === 'string' ? query.clinic : place)
  return {
    at: clock.now(),
    actorKind: actor.kind,
    actorId: actor.id,
    what: `${request.method} ${rule.path}`,
    subjects,
    clinicId: clinicId?.slice(0, 64) ?? null,
    facts: { ...facts, request: request.id, ...more },
  }
}
