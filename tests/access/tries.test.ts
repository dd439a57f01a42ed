import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { TOTP, Secret } from 'otpauth'
import { retain } from '../../src/flows/patients/retention.ts'
import { TestWorld } from '../harness/world.ts'
import { API_KEY, CLOSED, PASSWORD, bearer, cookieOf, giveCodes, hire, serveClosed, type Served } from './signed-in.ts'

// One proxy in front, so that a test can come from many addresses (TEST-NET-3, RFC 5737).
const BEHIND_PROXY = { ...CLOSED, proxies: 1 }
const HOME = '203.0.113.7'
const SECRET = 'JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP'
const MINUTE = 60_000

describe('tries to sign in', () => {
  let world: TestWorld
  let served: Served
  let count = 0

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  beforeEach(async () => {
    served = await serveClosed(world, BEHIND_PROXY)
  })
  afterEach(() => served.close())
  afterAll(() => world.close())

  const from = (address: string) => ({ 'X-Forwarded-For': address })
  const signIn = async (login: string, address: string, password = PASSWORD, code = '') =>
    (await served.ask('/sign-in', { form: { login, password, code, to: '' }, headers: from(address) })).status
  const someone = () => hire(world, { login: `tried-${++count}`, role: 'desk', clinicId: 'harbour' })
  const codeNow = () =>
    new TOTP({ secret: Secret.fromBase32(SECRET) }).generate({ timestamp: world.clock.now().getTime() })
  const later = (ms: number) => world.clock.moveTo(new Date(world.clock.now().getTime() + ms))
  const recorded = async (what: string) =>
    (await world.deps.access.read.audit.list({ limit: 500 })).filter((entry) => entry.what === what)

  it('somebody who guesses elsewhere keeps nobody out', async () => {
    const { login } = await someone()
    for (let i = 0; i < 8; i++) expect(await signIn(login, '203.0.113.66', `wrong ${i}`)).toBe(401)
    expect(await signIn(login, '203.0.113.66')).toBe(401)
    expect(await signIn(login, HOME)).toBe(303)
  })

  it('many addresses together are slowed down too, and nobody waits longer than a minute for it', async () => {
    const { login } = await someone()
    await world.deps.access.transact(async (tx) => {
      const print = tx.tries.printOf(`${login} from anywhere`)
      await tx.tries.lock([print], world.clock.now())
      await tx.tries.put(print, { failures: 400, lockedUntil: null, at: world.clock.now() })
    })
    expect(await signIn(login, '203.0.113.80', 'wrong')).toBe(401)
    expect(await signIn(login, HOME)).toBe(401)
    await later(MINUTE + 1)
    expect(await signIn(login, HOME)).toBe(303)
  })

  it('the right password with the right code comes in though it waits; with a wrong code it does not', async () => {
    const { id, login } = await someone()
    await giveCodes(world, id, SECRET)
    for (let i = 0; i < 6; i++) expect(await signIn(login, HOME, `wrong ${i}`)).toBe(401)
    expect(await signIn(login, HOME, PASSWORD, '000000')).toBe(401)
    expect(await signIn(login, HOME, PASSWORD, codeNow())).toBe(303)
  })

  it('codes cannot be tried one after the other, from however many addresses', async () => {
    const { id, login } = await someone()
    await giveCodes(world, id, SECRET)
    for (let i = 0; i < 6; i++) expect(await signIn(login, `203.0.113.${20 + i}`, PASSWORD, `00000${i}`)).toBe(401)
    expect(await signIn(login, HOME, PASSWORD, codeNow())).toBe(401)
  })

  it('a name that nobody has is counted as one that somebody has: the same rows are written', async () => {
    const { login } = await someone()
    const rows = async (name: string) => {
      const before = Number(
        (await world.composed.database.records.query('select * from daysix.sign_in_try')).rows.length,
      )
      expect(await signIn(name, '203.0.113.90', 'wrong')).toBe(401)
      return (await world.composed.database.records.query('select * from daysix.sign_in_try')).rows.length - before
    }
    expect([await rows(login), await rows('nobody-of-this-name')]).toEqual([2, 2])
  })

  it('each failure is on record from the first on, without what was typed', async () => {
    const before = (await recorded('sign-in-failed')).length
    for (const login of [(await someone()).login, 'Secret Typed In The Wrong Field'])
      expect(await signIn(login, '203.0.113.91', 'not the password')).toBe(401)
    const entries = (await recorded('sign-in-failed')).slice(0, -before || undefined)
    expect(entries.map(({ facts }) => facts)).toEqual(
      [0, 1].map(() => ({ name: expect.stringMatching(/^[\w-]{43}$/), address: '203.0.113.91', waits: false })),
    )
    const all = JSON.stringify((await world.composed.database.records.query('select * from daysix.audit')).rows)
    expect(all.toLowerCase()).not.toContain('secret typed')
    expect(all).not.toContain('not the password')
  })

  it('wrong keys are on record, and an address with a hundred of them is not listened to', async () => {
    const ask = (path: string, key: string, address: string) =>
      served.ask(path, { headers: { ...bearer(key), ...from(address), Accept: 'application/json' } })
    const paths = ['/api/v1/bookings', '/metrics', '/desk/harbour/bookings']
    const before = (await recorded('key-refused')).length
    for (let i = 0; i < 100; i++) expect((await ask(paths[i % 3]!, `dsx_y1_${i}`, '203.0.113.92')).status).toBe(401)
    const refused = await ask('/api/v1/bookings', API_KEY, '203.0.113.92')
    expect(refused.status).toBe(429)
    expect(Number(refused.headers.get('retry-after'))).toBeGreaterThan(0)
    expect((await ask('/api/v1/clinics', API_KEY, HOME)).status).toBe(200)
    expect((await recorded('key-refused')).length - before).toBe(100)
    await later(15 * MINUTE + 1)
    expect((await ask('/api/v1/clinics', API_KEY, '203.0.113.92')).status).toBe(200)
  })

  it('counts are cleared after a day', async () => {
    await signIn('nobody-again', HOME, 'wrong')
    await later(25 * 60 * MINUTE)
    const cleared = await retain(world.deps, { cycleDays: 90, textDays: 365, auditDays: 2557 })
    expect(cleared.signInTries).toBeGreaterThan(0)
    expect((await world.composed.database.records.query('select * from daysix.sign_in_try')).rows).toEqual([])
  })

  describe('in one’s own account', () => {
    const post = (form: Record<string, string>, headers: Record<string, string>) =>
      served.ask('/account/codes', { form, headers: { ...from(HOME), ...headers } })

    it('the password alone does not end the codes; with a code it does, and ends all other sessions', async () => {
      const { id } = await someone()
      await giveCodes(world, id, SECRET)
      const [here, there] = [await cookieOf(world, id), await cookieOf(world, id)]
      expect((await post({ end: 'yes', old: PASSWORD }, here)).status).toBe(401)
      expect((await world.deps.access.read.persons.get(id))!.totp).toBe(SECRET)
      const ended = await post({ end: 'yes', old: PASSWORD, code: codeNow() }, here)
      expect([ended.status, (await world.deps.access.read.persons.get(id))!.totp]).toEqual([200, null])
      expect((await served.ask('/desk/harbour/bookings', { headers: there })).status).toBe(303)
      expect((await recorded('codes-ended')).map(({ subjects }) => subjects)).toContainEqual([id])
    })

    it('takes only a secret that was offered to this very person', async () => {
      const [one, other] = [await someone(), await someone()]
      const cookie = await cookieOf(world, one.id)
      const offerOf = async (headers: Record<string, string>) => {
        const { text } = await served.ask('/account', { headers })
        return [/name="offer" value="([^"]+)"/.exec(text)![1]!, /<code>([A-Z2-7]{32})</.exec(text)![1]!] as const
      }
      const codeOf = (secret: string) =>
        new TOTP({ secret: Secret.fromBase32(secret) }).generate({ timestamp: world.clock.now().getTime() })
      const [foreign, foreignSecret] = await offerOf(await cookieOf(world, other.id))
      const taken = { secret: SECRET, offer: SECRET, old: PASSWORD, code: codeNow() }
      expect((await post(taken, cookie)).status).toBe(422)
      expect((await post({ offer: foreign, old: PASSWORD, code: codeOf(foreignSecret) }, cookie)).status).toBe(422)
      const [offer, secret] = await offerOf(cookie)
      expect((await post({ offer, old: PASSWORD, code: codeOf(secret) }, cookie)).status).toBe(200)
      expect((await world.deps.access.read.persons.get(one.id))!.totp).toBe(secret)
    })

    it('wrong passwords count as tries', async () => {
      const { id, login } = await someone()
      const cookie = await cookieOf(world, id)
      for (let i = 0; i < 5; i++) expect((await post({ end: 'yes', old: `wrong ${i}` }, cookie)).status).toBe(401)
      expect(await signIn(login, HOME)).toBe(401)
    })
  })
})
