import * as z from 'zod'
import { grantOf, refuseMoreThanOwn } from '../../../domain/access/grant.ts'
import { ALL_PERMISSIONS, ROLES } from '../../../domain/access/roles.ts'
import type { ApiKey, Person } from '../../../flows/ports/access.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { makeApiKey, revokeApiKey } from '../../sign-in/api-keys.ts'
import { disable, invite, refuseOverOthers, reinvite } from '../../sign-in/people.ts'
import { doerOf, route, type Route } from '../route.ts'

const short = z.string().trim().min(1).max(120)

const personSchema = z.strictObject({
  login: z.string().min(2).max(64).describe('What the person signs in with.'),
  name: short,
  role: z.enum(ROLES),
  clinic: z.string().max(64).nullable().default(null).describe('Required for desk and clinician.'),
  clinician: z.string().max(80).nullable().default(null).describe("A clinician's own list."),
  subject: z
    .string()
    .max(400)
    .nullable()
    .default(null)
    .describe('Issuer and subject at the identity provider, with a space between; the subject alone fits any issuer.'),
})

const keySchema = z.strictObject({
  name: short,
  may: z.array(z.enum(ALL_PERMISSIONS)).min(1),
  clinic: z.string().max(64).nullable().default(null),
  expiresAt: z.iso.datetime({ offset: true }).nullable().default(null),
})

/** People and keys. Codes and secrets are shown in the answer, once, and kept nowhere. */
export function accessRoutes(deps: Deps): Route[] {
  return [...peopleRoutes(deps), ...keyRoutes(deps)]
}

function peopleRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/people',
      access: { may: 'people:manage', everywhere: true },
      summary: 'Everybody who may sign in.',
      answers: { 200: 'The people.' },
      handle: async () => ({ status: 200, body: { people: (await deps.access.read.persons.list()).map(personView) } }),
    }),
    route({
      method: 'post',
      path: '/people',
      access: { may: 'people:manage', everywhere: true },
      summary: 'Add a person, who chooses a password at /sign-in/first with the one-time code.',
      body: personSchema,
      answers: { 201: 'The person and the one-time code.' },
      handle: async ({ body: { clinic, ...rest }, request }) => {
        refuseMoreThanOwn(request.actor!, grantOf(rest.role, clinic))
        if (clinic !== null) orNotFound(await deps.store.read.clinics.get(clinic), 'clinic')
        const { person, code } = await invite(deps, { ...rest, clinicId: clinic }, doerOf(request))
        return { status: 201, body: { person: personView(person), code } }
      },
    }),
    route({
      method: 'post',
      path: '/people/{login}/code',
      access: { may: 'people:manage', everywhere: true },
      summary: 'A new one-time code for somebody; the password, the code generator and all sessions end.',
      answers: { 200: 'The one-time code.' },
      handle: async ({ params, request }) => {
        await refuseOverOthers(deps, request.actor!, params.login!)
        return { status: 200, body: { code: await reinvite(deps, params.login!, doerOf(request)) } }
      },
    }),
    route({
      method: 'post',
      path: '/people/{login}/disable',
      access: { may: 'people:manage', everywhere: true },
      summary: 'Let somebody sign in no more.',
      answers: { 204: 'Done; all sessions have ended.' },
      handle: async ({ params, request }) => {
        await disable(deps, params.login!, doerOf(request))
        return { status: 204 }
      },
    }),
  ]
}

function keyRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/keys',
      access: { may: 'people:manage', everywhere: true },
      summary: 'All API keys with what they may do; never their secrets.',
      answers: { 200: 'The keys.' },
      handle: async () => ({ status: 200, body: { keys: (await deps.access.read.apiKeys.list()).map(keyView) } }),
    }),
    route({
      method: 'post',
      path: '/keys',
      access: { may: 'people:manage', everywhere: true },
      summary: 'Make an API key for certain permissions, for one clinic or all.',
      body: keySchema,
      answers: { 201: 'The key with its secret.' },
      handle: async ({ body: { clinic, expiresAt, ...rest }, request }) => {
        refuseMoreThanOwn(request.actor!, { may: rest.may, clinicId: clinic })
        if (clinic !== null) orNotFound(await deps.store.read.clinics.get(clinic), 'clinic')
        const wish = { ...rest, clinicId: clinic, expiresAt: expiresAt === null ? null : new Date(expiresAt) }
        const { key, secret } = await makeApiKey(deps, wish, doerOf(request))
        return { status: 201, body: { key: keyView(key), secret } }
      },
    }),
    route({
      method: 'post',
      path: '/keys/{key}/revoke',
      access: { may: 'people:manage', everywhere: true },
      summary: 'Revoke an API key at once.',
      answers: { 204: 'Revoked.' },
      handle: async ({ params, request }) => {
        await revokeApiKey(deps, params.key!, doerOf(request))
        return { status: 204 }
      },
    }),
  ]
}

function personView({ login, name, role, clinicId, clinician, subject, passwordHash, totp, disabledAt }: Person) {
  return {
    login,
    name,
    role,
    clinic: clinicId,
    clinician,
    subject,
    hasPassword: passwordHash !== null,
    hasCodes: totp !== null,
    disabledAt,
  }
}

function keyView({ id, name, may, clinicId, createdAt, expiresAt, revokedAt, usedAt }: ApiKey) {
  return { id, name, may, clinic: clinicId, createdAt, expiresAt, revokedAt, usedAt }
}
