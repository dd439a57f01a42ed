import express from 'express'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeApiKey } from '../../src/adapters/sign-in/api-keys.ts'
import { api, apiRoutes, apiRules } from '../../src/adapters/http/api/api.ts'
import { createGate } from '../../src/adapters/http/access/gate.ts'
import { desk } from '../../src/adapters/http/desk/desk.ts'
import { settings } from '../../src/adapters/http/settings/settings.ts'
import type { Route } from '../../src/adapters/http/route.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { problemHandler } from '../../src/adapters/http/problem.ts'
import { recordNearMiss } from '../../src/flows/region/near-misses.ts'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import { ALL_PERMISSIONS } from '../../src/domain/access/roles.ts'
import { TestWorld } from '../harness/world.ts'
import { RULES, ruleFor } from './all-rules.ts'
import { BY, CLOSED, accessDeps, bearer, cookieOf, hire, listenOn, type Served } from './signed-in.ts'

/**
 * Who may pass, written down apart from the rules: d desk, c clinician, e educator, a administrator; a lone dot =
 * nobody.
 */
const EXPECTED = `
GET    /api/v1/openapi.json                      d c e a
POST   /api/v1/bookings                          d a
GET    /api/v1/bookings                          d a
GET    /api/v1/bookings/{id}                     d a
PATCH  /api/v1/bookings/{id}                     d a
POST   /api/v1/bookings/{id}/outcome             d a
POST   /api/v1/bookings/{id}/cancel              d a
GET    /api/v1/openings                          d a
POST   /api/v1/openings                          d a
DELETE /api/v1/openings/{id}                     d a
GET    /api/v1/follow-ups                        d a
POST   /api/v1/follow-ups/{id}/close             d a
POST   /api/v1/offers/{id}/settle                d a
GET    /api/v1/languages                         d a
GET    /api/v1/clinics                           d a
PUT    /api/v1/clinics/{clinic}                  a
GET    /api/v1/clinics/{clinic}/calendars        d a
GET    /api/v1/patients/{id}/export              a
DELETE /api/v1/patients/{id}                     a
POST   /api/v1/patients/{id}/consent/withdraw    d a
GET    /api/v1/people                            a
POST   /api/v1/people                            a
POST   /api/v1/people/{login}/code               a
POST   /api/v1/people/{login}/disable            a
GET    /api/v1/keys                              a
POST   /api/v1/keys                              a
POST   /api/v1/keys/{key}/revoke                 a
GET    /api/v1/audit                             a
GET    /api/v1/audit/verdict                     a
GET    /api/v1/sending                           d a
POST   /api/v1/sending/stop                      d a
POST   /api/v1/sending/resume                    d a
GET    /api/v1/retention                         a
GET    /api/v1/near-misses                       d c e a
POST   /api/v1/near-misses                       d c e a
POST   /api/v1/near-misses/{id}/review           d c e a
GET    /api/v1/feeds                             a
POST   /api/v1/feeds/{feed}/news                 a
POST   /api/v1/feeds/{feed}/ping                 a
GET    /api/v1/feeds/{feed}/fhir/metadata        a
POST   /api/v1/feeds/{feed}/fhir                 a
POST   /api/v1/feeds/{feed}/fhir/{type}          a
PUT    /api/v1/feeds/{feed}/fhir/{type}/{id}     a
DELETE /api/v1/feeds/{feed}/fhir/Appointment/{id} a
GET    /api/v1/fhir/metadata                     d c e a
GET    /api/v1/fhir/Appointment                  d a
GET    /api/v1/fhir/Appointment/{id}             d a
GET    /api/v1/fhir/Slot                         d a
GET    /api/v1/fhir/Communication                d a
GET    /api/v1/fhir/Task                         d a
GET    /desk/events                              d c e a
GET    /desk/{clinic}/day-sheet*                 d c a
POST   /desk/{clinic}/day-sheet*                 d c a
GET    /desk/{clinic}/watch                      d a
GET    /desk/{clinic}/calls*                     d a
POST   /desk/{clinic}/calls*                     d a
GET    /desk/{clinic}/prints                     d a
GET    /desk/{clinic}/prints/*                   d a
GET    /desk/{clinic}/replies*                   d a
POST   /desk/{clinic}/replies*                   d a
GET    /desk/{clinic}/texts*                     d a
POST   /desk/{clinic}/texts*                     a
GET    /desk/{clinic}/sending                    d a
POST   /desk/{clinic}/sending                    d a
GET    /desk/{clinic}/service*                   d a
POST   /desk/{clinic}/service*                   a
GET    /desk/{clinic}/near-misses*               d c e a
POST   /desk/{clinic}/near-misses*               d c e a
GET    /desk/{clinic}/feeds                      d a
POST   /desk/{clinic}/feeds/*                    d a
GET    /desk/{clinic}/figures*                   e a
GET    /desk/{clinic}                            d a
GET    /desk/{clinic}/*                          d a
POST   /desk/{clinic}/*                          d a
GET    /settings                                 a
GET    /settings/clinics*                        a
POST   /settings/clinics                         a
POST   /settings/clinics/{clinic}                a
GET    /settings/people                          a
POST   /settings/people*                         a
GET    /settings/keys                            a
POST   /settings/keys*                           a
GET    /settings/gateways                        a
POST   /settings/gateways                        a
GET    /settings/protocols                       a
GET    /settings/retention                       a
GET    /settings/replies*                        a
GET    /settings/audit                           a
POST   /settings/audit                           a
`

const NEAR_MISS = {
  ...({ happened: '2026-03-08T10:00', kind: 'other', reach: 'caught' } as const),
  ...{ words: 'Invented.', told: '', by: 'desk' },
}

const TABLE = EXPECTED.trim()
  .split('\n')
  .map((line) => {
    const [method, path, ...who] = line.trim().split(/\s+/)
    return { method: method!, path: path!, who }
  })
const ROLES = { d: 'desk', c: 'clinician', e: 'educator', a: 'administrator' } as const
/** Judged apart: everybody's, or led elsewhere. */
const APART = ['/desk/assets/*', '/desk']

describe('who may do what', () => {
  let world: TestWorld
  let served: Served
  const as: Record<string, Record<string, string>> = { nobody: {} }
  const ids = { own: {} as Record<string, string>, other: {} as Record<string, string> }

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    for (const [where, clinic, phone] of [
      ['own', 'harbour', '782 555 0101'],
      ['other', 'ridge', '782 555 0102'],
    ] as const) {
      const { booking } = await world.book({ visit: '2026-03-25T09:00', clinic, phone, name: `Patient ${clinic}` })
      const { added } = await addOpenings(world.deps, { clinic, at: ['2026-04-08T09:00'] })
      await world.reply(`+1${phone.replaceAll(' ', '')}`, 'purple elephants on the roof')
      const [followUp] = await world.deps.store.read.followUps.list({ bookingId: booking.id, limit: 1 })
      ids[where] = {
        bookings: booking.id,
        patients: booking.patientId,
        openings: added[0]!.id,
        'follow-ups': followUp!.id,
        offers: 'r_none',
        fhir: booking.id.replace('_', '-'),
        feeds: 'a1',
        'near-misses': (await recordNearMiss(world.deps, { ...NEAR_MISS, clinic })).id,
        clinic,
      }
    }
    for (const [letter, role] of Object.entries(ROLES)) {
      const { id } = await hire(world, { login: `some-${role}`, role, clinicId: 'harbour' })
      as[letter] = await cookieOf(world, id)
    }
    served = await listenOn(gateAlone())
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  /** The real gate with nothing behind it but "let through". */
  function gateAlone() {
    const app = express()
    const gate = createGate(accessDeps(world), CLOSED, ruleFor)
    app.set('query parser', 'simple')
    app.use((request, _response, next) => ((request.id = world.deps.newId('q')), next()))
    app.use(
      '/api/v1',
      gate.authenticateApi,
      express.json(),
      gate.authorize,
      (_request, response) => void response.status(204).end(),
    )
    app.use(['/desk', '/settings'], gate.pages, (_request, response) => void response.status(204).end())
    app.use(problemHandler(world.composed.log))
    return app
  }

  function addressOf(path: string, where: 'own' | 'other'): string {
    const kind = path.startsWith('/api/v1/fhir/') ? 'fhir' : (path.split('/')[3] ?? '')
    return path
      .replace('{clinic}', ids[where].clinic!)
      .replace('{id}', ids[where][kind] ?? '')
      .replace(/\{(login|key)\}/, 'somebody')
      .replace(/\/\*$/, '/b-page')
      .replace(/\*$/, '')
  }

  function ask(method: string, path: string, where: 'own' | 'other', headers: Record<string, string>) {
    const named = RULES.find((rule) => rule.path === path && rule.methods.includes(method))!.namesClinic
      ? ids[where].clinic!
      : undefined
    const address = addressOf(path, where) + (method === 'GET' && named ? `?clinic=${named}` : '')
    const isApi = path.startsWith('/api')
    const body =
      method === 'GET' || method === 'DELETE'
        ? {}
        : isApi
          ? { json: named ? { clinic: named } : {} }
          : { form: { tick: 'on' } }
    return served.ask(address, { method, headers: { ...headers, Accept: 'application/json' }, ...body })
  }

  it('has every rule in the table of this test, and no other', () => {
    const rules = RULES.filter(({ path }) => !APART.includes(path)).flatMap(({ methods, path }) =>
      methods.map((method) => `${method} ${path}`),
    )
    expect(TABLE.map(({ method, path }) => `${method} ${path}`).sort()).toEqual(rules.sort())
  })

  it.each(TABLE.flatMap((row) => [...Object.keys(ROLES), 'nobody'].map((who) => ({ ...row, by: who }))))(
    '$method $path by $by',
    async ({ method, path, who, by }) => {
      const { status } = await ask(method, path, 'own', as[by]!)
      const everywhere = RULES.find((rule) => rule.path === path && rule.methods.includes(method))!.everywhere
      const expected = by === 'nobody' ? 401 : who.includes(by) && !(everywhere && by === 'd') ? 204 : 403
      expect(status).toBe(expected)
    },
  )

  it.each(
    TABLE.filter(
      ({ path, who }) =>
        /\{|clinic/.test(path + String(RULES.find((rule) => rule.path === path)?.namesClinic)) &&
        (who.includes('d') || who.includes('c')),
    ),
  )(
    '$method $path of another clinic is closed to desk and clinician, open to the administrator',
    async ({ method, path, who }) => {
      if (path === '/api/v1/offers/{id}/settle') return // the foreign offer has its own test below
      const closed = /\{id\}/.test(path) ? [404] : [403]
      for (const by of ['d', 'c'].filter((letter) => who.includes(letter))) {
        if (
          RULES.find((rule) => rule.path === path && rule.methods.includes(method))!.namesClinic ||
          path.includes('{')
        ) {
          expect(closed).toContain((await ask(method, path, 'other', as[by]!)).status)
        }
      }
      expect((await ask(method, path, 'other', as.a!)).status).toBe(204)
    },
  )

  it("a desk's list without a clinic named is refused: it would be everybody's", async () => {
    for (const path of ['/api/v1/bookings', '/api/v1/follow-ups', '/api/v1/openings', '/api/v1/near-misses']) {
      expect((await served.ask(path, { headers: as.d! })).status).toBe(403)
    }
  })

  it('an id of another clinic hidden in a form or a query is refused like one in the address', async () => {
    const { ask: asks } = served
    expect(
      (await asks('/desk/harbour/bookings', { form: { booking: ids.other.bookings! }, headers: as.d! })).status,
    ).toBe(404)
    expect((await asks(`/desk/harbour/bookings?visit=${ids.other.bookings}`, { headers: as.d! })).status).toBe(404)
    expect((await asks('/desk/harbour/bookings', { form: { clinic: 'ridge' }, headers: as.d! })).status).toBe(403)
    expect(
      (await asks('/desk/harbour/bookings', { form: { booking: ids.own.bookings! }, headers: as.d! })).status,
    ).toBe(204)
  })

  it('capitals, a slash at the end or HEAD do not lead around a rule', async () => {
    expect((await served.ask('/desk/harbour/TEXTS', { form: { a: 'b' }, headers: as.d! })).status).toBe(403)
    expect((await served.ask('/desk/harbour/Calls/', { headers: as.c! })).status).toBe(403)
    expect((await served.ask(`/api/v1/bookings/${ids.own.bookings}`, { method: 'HEAD', headers: as.e! })).status).toBe(
      403,
    )
  })

  it('an address without a rule does not exist, whoever asks', async () => {
    expect((await served.ask('/api/v1/secrets', { headers: as.a! })).status).toBe(404)
    expect((await served.ask('/api/v1/bookings', { method: 'DELETE', headers: as.a! })).status).toBe(404)
  })

  it('a clinician sees only the own list', async () => {
    const { id } = await hire(world, {
      login: 'dr-own-list',
      role: 'clinician',
      clinicId: 'harbour',
      clinician: 'room 1',
    })
    const headers = await cookieOf(world, id)
    expect((await served.ask('/desk/harbour/day-sheet?clinician=room+1', { headers })).status).toBe(204)
    expect((await served.ask('/desk/harbour/day-sheet?clinician=room+2', { headers })).status).toBe(403)
  })

  it.each(ALL_PERMISSIONS)('a key for %s opens that and nothing else', async (permission) => {
    const { secret } = await makeApiKey(
      accessDeps(world),
      {
        name: permission,
        may: [permission],
        clinicId: null,
        expiresAt: null,
      },
      BY,
    )
    for (const { methods, path, may } of RULES.filter(({ may }) => may !== 'anyone' && may !== 'signed-in')) {
      const { status } = await ask(methods[0]!, path, 'own', bearer(secret))
      expect({ path, status }).toEqual({ path, status: may === permission ? 204 : 403 })
    }
  })

  it("a clinic's key opens that clinic only", async () => {
    const { secret } = await makeApiKey(
      accessDeps(world),
      {
        name: 'harbour',
        may: [...ALL_PERMISSIONS],
        clinicId: 'harbour',
        expiresAt: null,
      },
      BY,
    )
    const headers = { ...bearer(secret), Accept: 'application/json' }
    expect((await served.ask('/api/v1/bookings?clinic=harbour', { headers })).status).toBe(204)
    expect((await served.ask('/api/v1/bookings?clinic=ridge', { headers })).status).toBe(403)
    expect((await served.ask(`/api/v1/bookings/${ids.other.bookings}`, { headers })).status).toBe(404)
    expect((await served.ask('/api/v1/audit', { headers })).status).toBe(403)
  })
})

describe('the rules', () => {
  it('know every route of the API, every page of the desk and of the settings', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    const { deps, news, wording } = world.composed
    const routes = [
      ...routesOf(api(apiRoutes(deps)), '/api/v1'),
      ...routesOf(
        desk(deps, news, wording, async () => true),
        '/desk',
      ),
      ...routesOf(settings(deps, wording), '/settings'),
    ]
    await world.close()
    expect(routes.length).toBeGreaterThan(20)
    expect(routes.filter(({ method, path }) => ruleFor(method, path) === null)).toEqual([])
  })
})

describe('an operation', () => {
  it('without an access rule fails at the start, by its name', () => {
    const [first] = apiRoutes({} as Deps)
    const open = { ...first!, path: '/bookings/{id}/secrets', access: undefined }
    expect(() => apiRules([open as unknown as Route])).toThrow(
      'POST /api/v1/bookings/{id}/secrets says nothing of who may use it',
    )
  })
})

interface Layer {
  route?: { path: string; methods: Record<string, boolean> }
}

/** Every address of a router, its `:names` standing for themselves. */
function routesOf(router: unknown, base: string): { method: string; path: string }[] {
  const { stack } = router as { stack: Layer[] }
  return stack.flatMap(({ route }) =>
    route
      ? Object.keys(route.methods).map((method) => ({ method: method.toUpperCase(), path: base + route.path }))
      : [],
  )
}
