import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { firstAdministrator } from '../../src/adapters/sign-in/people.ts'
import { TestWorld } from '../harness/world.ts'
import { accessDeps, bearer, API_KEY, cookieOf, hire, serveClosed, type Served } from './signed-in.ts'

describe('the record names who did it, and whom it concerned', () => {
  let world: TestWorld
  let served: Served
  let boss: { id: string; headers: Record<string, string> }
  let key: { id: string; headers: Record<string, string> }
  const entry = async (what: string) =>
    (await world.deps.access.read.audit.list({ limit: 30 })).find((each) => each.what === what)
  const api = async (path: string, headers: Record<string, string>, json: unknown = {}, method = 'POST') => {
    const told = await served.ask(`/api/v1${path}`, { method, headers, json })
    expect([path, told.status < 300, told.text]).toEqual([path, true, told.text])
    return told.text === '' ? {} : (JSON.parse(told.text) as Record<string, { id: string }>)
  }
  const personOf = async (login: string) => (await world.deps.access.read.persons.byLogin(login))!.id

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
    const hired = await hire(world, { login: 'boss', role: 'administrator' })
    boss = { id: hired.id, headers: await cookieOf(world, hired.id) }
    const may = ['people:manage', 'rights:use', 'figures:read', 'near-misses:read', 'near-misses:write']
    const made = (await api('/keys', bearer(API_KEY), { name: 'Roster', may })) as never as {
      key: { id: string }
      secret: string
    }
    expect(await entry('key-made')).toMatchObject({
      ...{ actorKind: 'key', actorId: 'environment', subjects: [made.key.id] },
    })
    key = { id: made.key.id, headers: bearer(made.secret) }
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  const newcomer = (login: string) => ({ login, name: 'Newcomer', role: 'educator' })

  it('by the API, with a key', async () => {
    const by = { actorKind: 'key', actorId: key.id }
    const made = await api('/keys', key.headers, { name: 'Other', may: ['figures:read'] })
    expect(await entry('key-made')).toMatchObject({ ...by, subjects: [made.key!.id] })
    await api(`/keys/${made.key!.id}/revoke`, key.headers)
    expect(await entry('key-revoked')).toMatchObject({ ...by, subjects: [made.key!.id] })
    await api('/people', key.headers, newcomer('one'))
    const subjects = [await personOf('one')]
    expect(await entry('person-invited')).toMatchObject({ ...by, subjects })
    await api('/people/one/code', key.headers)
    expect(await entry('person-reinvited')).toMatchObject({ ...by, subjects })
    await api('/people/one/disable', key.headers)
    expect(await entry('person-disabled')).toMatchObject({ ...by, subjects })
  })

  it('on the pages of the settings, by a person', async () => {
    const by = { actorKind: 'person', actorId: boss.id }
    const post = (path: string, form: Record<string, string>) =>
      served.ask(`/settings/${path}`, { headers: boss.headers, form })
    await post('people', { ...newcomer('two'), clinic: '' })
    const subjects = [await personOf('two')]
    expect(await entry('person-invited')).toMatchObject({ ...by, subjects })
    await post('people/code', { login: 'two' })
    expect(await entry('person-reinvited')).toMatchObject({ ...by, subjects })
    await post('people/out', { login: 'two' })
    expect(await entry('person-disabled')).toMatchObject({ ...by, subjects })
    await post('keys', { name: 'Third', may: 'figures:read', clinic: '' })
    const made = (await world.deps.access.read.apiKeys.list()).find(({ name }) => name === 'Third')!
    expect(await entry('key-made')).toMatchObject({ ...by, subjects: [made.id] })
    await post('keys/revoke', { key: made.id })
    expect(await entry('key-revoked')).toMatchObject({ ...by, subjects: [made.id] })
    // Nobody shuts themselves out, whatever way they are named.
    await post('people/out', { login: 'boss' })
    expect((await entry('person-disabled'))!.subjects).toEqual(subjects)
  })

  it('of what is taken away or erased of a patient', async () => {
    const { patientId } = (await world.book({ visit: '2026-03-25T09:00' })).booking
    const by = { actorKind: 'key', actorId: key.id, subjects: [patientId] }
    const told = await served.ask(`/api/v1/patients/${patientId}/export`, { headers: key.headers })
    expect(told.status).toBe(200)
    expect(await entry('patient-exported')).toMatchObject(by)
    await api(`/patients/${patientId}`, key.headers, undefined, 'DELETE')
    expect(await entry('patient-erased')).toMatchObject(by)
  })

  it('the first administrator is invited by the service itself', async () => {
    const own = await TestWorld.create('2026-03-09T13:00:00Z')
    await firstAdministrator(accessDeps(own))
    const [invited] = await own.deps.access.read.audit.list({ limit: 1 })
    const person = (await own.deps.access.read.persons.byLogin('administrator'))!
    expect(invited).toMatchObject({ what: 'person-invited', actorKind: 'service', actorId: 'start' })
    expect(invited!.subjects).toEqual([person.id])
    await own.close()
  })
})
