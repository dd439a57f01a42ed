import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeApiKey } from '../../src/adapters/sign-in/api-keys.ts'
import { invite } from '../../src/adapters/sign-in/people.ts'
import { refuseMoreThanOwn } from '../../src/domain/access/grant.ts'
import { ALL_PERMISSIONS, MAY, type Actor, type Permission } from '../../src/domain/access/roles.ts'
import { TestWorld } from '../harness/world.ts'
import { BY, API_KEY, accessDeps, bearer, cookieOf, hire, serveClosed, type Served } from './signed-in.ts'

describe('no more than needed', () => {
  let world: TestWorld
  let served: Served

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.putClinic({}, 'ridge')
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  const keyFor = async (may: Permission[], clinicId: string | null = null) =>
    bearer((await makeApiKey(accessDeps(world), { name: 'program', may, clinicId, expiresAt: null }, BY)).secret)

  it('a key that manages people makes neither keys nor people that may do more than itself', async () => {
    const headers = await keyFor(['people:manage', 'visits:read'])
    const make = async (path: string, json: object) => (await served.ask(path, { json, headers })).status
    expect(await make('/api/v1/keys', { name: 'x', may: ['audit:read', 'rights:use', 'visits:read'] })).toBe(403)
    expect(await make('/api/v1/people', { login: 'mallory', name: 'M', role: 'administrator' })).toBe(403)
    expect(await world.deps.access.read.persons.byLogin('mallory')).toBeUndefined()
    expect(await make('/api/v1/keys', { name: 'x', may: ['visits:read'] })).toBe(201)
  })

  it('nor a one-time code for somebody who may do more: it would make its holder that person', async () => {
    const chief = { login: 'chief', name: 'Chief', role: 'administrator', clinicId: null } as const
    const { person } = await invite(accessDeps(world), { ...chief, clinician: null, subject: null }, BY)
    const headers = await keyFor(['people:manage'])
    expect((await served.ask('/api/v1/people/chief/code', { method: 'POST', headers })).status).toBe(403)
    expect((await world.deps.access.read.persons.get(person.id))!.codeHash).toBe(person.codeHash)
    const all = bearer(API_KEY)
    expect((await served.ask('/api/v1/people/chief/code', { method: 'POST', headers: all })).status).toBe(200)
  })

  it('whoever is tied to a clinic gives rights there only', () => {
    const who = { kind: 'person', id: 'u_1', name: 'A', role: 'desk', clinician: null } as const
    const maker: Actor = { ...who, may: ALL_PERMISSIONS, clinicId: 'harbour' }
    expect(() => refuseMoreThanOwn(maker, { may: ['visits:read'], clinicId: 'ridge' })).toThrow(/forbidden/)
    expect(() => refuseMoreThanOwn(maker, { may: ['visits:read'], clinicId: null })).toThrow(/forbidden/)
    expect(() => refuseMoreThanOwn(maker, { may: MAY.desk, clinicId: 'harbour' })).not.toThrow()
  })

  it('the program that watches the service has a key for its metrics alone', async () => {
    const watcher = await keyFor(['metrics:read'])
    const look = async (path: string, headers: Record<string, string>) => (await served.ask(path, { headers })).status
    expect(await look('/metrics', watcher)).toBe(200)
    expect(await look('/metrics', bearer(API_KEY))).toBe(200)
    expect(await look('/metrics', await keyFor(['visits:read', 'service:read']))).toBe(403)
    expect(await look('/metrics', {})).toBe(401)
    expect(await look('/api/v1/bookings', watcher)).toBe(403)
    expect(await look('/api/v1/retention', watcher)).toBe(403)
  })

  it('a clerk sees the own clinic and its rules, and not how long what is kept everywhere', async () => {
    const { id } = await hire(world, { login: 'clerk', role: 'desk', clinicId: 'harbour' })
    const headers = await cookieOf(world, id)
    const clinics = async (as: Record<string, string>) =>
      (JSON.parse((await served.ask('/api/v1/clinics', { headers: as })).text) as { clinics: { id: string }[] }).clinics
        .map((clinic) => clinic.id)
        .sort()
    expect(await clinics(headers)).toEqual(['harbour'])
    expect(await clinics(await keyFor(['clinics:read'], 'ridge'))).toEqual(['ridge'])
    expect(await clinics(bearer(API_KEY))).toEqual(['harbour', 'ridge'])
    expect((await served.ask('/api/v1/retention', { headers })).status).toBe(403)
  })
})
