import { Failure } from '../../../../domain/failure.ts'
import type { Deps } from '../../../../flows/ports/deps.ts'
import { describedFeed } from '../../../../flows/schedule/described-feed.ts'
import { answerBundle, type EntryAnswer } from '../../../schedule/fhir/emit/bundles.ts'
import { intakeCapability } from '../../../schedule/fhir/emit/capability.ts'
import { instantOf } from '../../../schedule/fhir/emit/resource.ts'
import { isObject, type Raw } from '../../../schedule/fhir/strict.ts'
import { route, type Answer, type Asked, type Route } from '../../route.ts'
import { addressOf } from './address.ts'
import { badRequest, fhir } from './answer.ts'
import { BAD_CRITERIA, wishesOf, type Wishes } from './asked.ts'
import { resourceIn } from './bodies.ts'
import { statusWords, type Became } from './outcomes.ts'
import { takeBundle, type BundleBecame } from './take-bundle.ts'
import { FHIR_ID, KINDS, newFhirId, pathOf, takeDeletion, takeOne } from './take-one.ts'

type Any = Asked<undefined, undefined>

const IN = '/feeds/{feed}/fhir'
const MAY = { may: 'visits:write', everywhere: true } as const
const ANSWERS = { 200: 'Taken.', 201: 'Taken, and new here.', 202: 'Taken; it waits for a person.' }
const CONDITIONS = {
  'If-Match': 'The version that it follows, as it was told in ETag; 412 where it is another.',
  Prefer: 'return=minimal, return=representation or return=OperationOutcome.',
}

/** Where the schedule of a feed is told in FHIR R4, resource by resource. */
export function fhirIntakeRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: `${IN}/metadata`,
      access: { ...MAY, quiet: true },
      summary: 'FHIR R4 CapabilityStatement: what of a schedule may be told here, and how.',
      answers: { 200: 'The statement.' },
      handle: async ({ params, request }) => {
        const { name } = await describedFeed(deps, params.feed!)
        return fhir(200, intakeCapability(addressOf(request, pathOf(name))))
      },
    }),
    route({
      method: 'post',
      path: IN,
      access: MAY,
      summary: 'Take a FHIR R4 Bundle of a schedule: a transaction wholly or not at all, of others each entry.',
      answers: { 200: 'What became of each entry.' },
      handle: (asked) => bundle(deps, asked),
    }),
    route({
      method: 'post',
      path: `${IN}/{type}`,
      access: MAY,
      summary: 'Take a FHIR R4 resource of a schedule that has no id yet.',
      headers: {
        'If-None-Exist': 'identifier=system|value: nothing is done where such an appointment is known.',
        Prefer: CONDITIONS.Prefer,
      },
      answers: ANSWERS,
      handle: (asked) => create(deps, asked),
    }),
    route({
      method: 'put',
      path: `${IN}/{type}/{id}`,
      access: MAY,
      summary: 'Take a FHIR R4 resource of a schedule by the id of its sender.',
      headers: CONDITIONS,
      answers: ANSWERS,
      handle: (asked) => update(deps, asked),
    }),
    route({
      method: 'delete',
      path: `${IN}/Appointment/{id}`,
      access: MAY,
      summary: 'Take it that an appointment was entered in error.',
      headers: { 'If-Match': CONDITIONS['If-Match'] },
      answers: { 200: 'Taken.' },
      handle: (asked) => remove(deps, asked),
    }),
  ]
}

async function create(deps: Deps, { params, request }: Any): Promise<Answer> {
  const { feed: name, type } = kindOf(params)
  const wishes = wishesOf(request)
  if ('fault' in wishes) return badRequest(wishes.fault)
  if (wishes.unlessKnown && type !== 'Appointment') return badRequest(BAD_CRITERIA)
  const id = newFhirId(deps)
  const resource = { ...resourceIn(request, pathOf(name)), id }
  const became = await takeOne(deps, name, { type, id, resource, ...wishes, ifMatch: null })
  return written(addressOf(request, pathOf(name)), resource, became, wishes)
}

async function update(deps: Deps, { params, request }: Any): Promise<Answer> {
  const { feed: name, type } = kindOf(params)
  const id = params.id!
  const wishes = wishesOf(request)
  if ('fault' in wishes) return badRequest(wishes.fault)
  if (wishes.unlessKnown) return badRequest('If-None-Exist is for what is new: send it with POST.')
  if (!FHIR_ID.test(id)) return badRequest('The address ends in no FHIR id: 1 to 64 letters, digits, hyphens, points.')
  const resource = resourceIn(request, pathOf(name))
  const became = await takeOne(deps, name, { type, id, resource, ...wishes })
  return written(addressOf(request, pathOf(name)), resource, became, wishes)
}

async function remove(deps: Deps, { params, request }: Any): Promise<Answer> {
  const wishes = wishesOf(request)
  if ('fault' in wishes) return badRequest(wishes.fault)
  if (!FHIR_ID.test(params.id!)) return badRequest('The address ends in no FHIR id.')
  const { status, outcome, standing } = await takeDeletion(deps, params.feed!, params.id!, wishes.ifMatch)
  return fhir(status === 201 ? 200 : status, outcome, versionHeaders(standing))
}

async function bundle(deps: Deps, { params, request }: Any): Promise<Answer> {
  const path = pathOf(params.feed!)
  const sent = resourceIn(request, path)
  if (sent['resourceType'] !== 'Bundle')
    return badRequest('Send a Bundle here; one resource to the address of its kind, e.g. …/fhir/Appointment.')
  const became = await takeBundle(deps, params.feed!, sent)
  if ('refused' in became) return refusedWhole(became)
  const entries = became.entries.map(({ status, outcome, standing }): EntryAnswer => {
    const { Location: location, ETag: etag } = {
      ...versionHeaders(standing),
      ...locationOf(addressOf(request, path), standing),
    }
    const lastModified = standing && 'taken' in standing && { lastModified: instantOf(standing.taken.at) }
    const where = { ...(location && { location }), ...(etag && { etag }), ...lastModified }
    return { status: statusWords(status), ...where, outcome }
  })
  return fhir(200, answerBundle(became.type, entries))
}

/** Nothing of it was taken: what stands in the way of each. */
function refusedWhole({ refused, at, entries }: Extract<BundleBecame, { refused: Became }>): Answer {
  if (at.length === 0) return fhir(refused.status, refused.outcome)
  const issue = entries.flatMap(({ outcome }, index) =>
    outcome.issue.map((each) => ({ ...each, expression: [`Bundle.entry[${at[index]}]`] })),
  )
  return fhir(refused.status, { resourceType: 'OperationOutcome', issue })
}

function written(base: string, resource: Raw, { status, outcome, standing }: Became, { answer }: Wishes): Answer {
  const headers = { ...versionHeaders(standing), ...locationOf(base, standing) }
  if (status > 201 || answer === 'OperationOutcome' || !standing || !('taken' in standing))
    return fhir(status, outcome, headers)
  if (answer === 'minimal') return { status, headers }
  const own = isObject(resource['meta']) ? resource['meta'] : {}
  const meta = { ...own, versionId: String(standing.taken.version), lastUpdated: instantOf(standing.taken.at) }
  return fhir(status, { ...resource, meta }, headers)
}

function versionHeaders(standing: Became['standing']): Record<string, string> {
  const is = isOf(standing)
  return is ? { ETag: `W/"${is.version}"`, 'Last-Modified': is.at.toUTCString() } : {}
}

function locationOf(base: string, standing: Became['standing']): Record<string, string> {
  const is = isOf(standing)
  return is ? { Location: `${base}/${is.resource}/_history/${is.version}` } : {}
}

const isOf = (standing: Became['standing']) =>
  standing && ('taken' in standing ? standing.taken : 'is' in standing ? standing.is : null)

function kindOf({ feed, type }: Record<string, string>): { feed: string; type: string } {
  if (KINDS.includes(type!)) return { feed: feed!, type: type! }
  throw new Failure('not-found', { message: `Only these kinds of resource are taken: ${KINDS.join(', ')}.` })
}
