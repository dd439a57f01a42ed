import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { Secret } from 'otpauth'
import { makeApiKey, revokeApiKey } from '../../src/adapters/sign-in/api-keys.ts'
import { disable, firstAdministrator, invite } from '../../src/adapters/sign-in/people.ts'
import { totpStepOf } from '../../src/adapters/sign-in/totp.ts'
import { usualSettings } from '../../src/adapters/http/access/gate.ts'
import { loadConfig } from '../../src/config.ts'
import { waitAfter } from '../../src/domain/access/lockout.ts'
import { TestWorld } from '../harness/world.ts'
import {
  API_KEY,
  BY,
  CLOSED,
  PASSWORD,
  accessDeps,
  bearer,
  cookieOf,
  giveCodes,
  hire,
  serveClosed,
  type Served,
} from './signed-in.ts'

const MINUTE = 60_000

describe('signing in', () => {
  let world: TestWorld
  let served: Served
  let count = 0

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  // A fresh gate each time: its limits per address would otherwise count every test of this file.
  beforeEach(async () => {
    await served?.close()
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  const later = (ms: number) => world.clock.moveTo(new Date(world.clock.now().getTime() + ms))
  const signIn = (login: string, password = PASSWORD, code = '') =>
    served.ask('/sign-in', { form: { login, password, code, to: '' } })
  const someone = (role: 'desk' | 'administrator' = 'desk') =>
    hire(world, { login: `clerk-${++count}`, role, clinicId: 'harbour' })
  const cookieFrom = (headers: Headers) => ({ Cookie: headers.get('set-cookie')!.split(';')[0]! })

  it('the first start has no password, only a one-time code that makes the administrator', async () => {
    const own = await TestWorld.create('2026-03-09T13:00:00Z')
    const first = (await firstAdministrator(accessDeps(own)))!
    const again = (await firstAdministrator(accessDeps(own)))!
    const door = await serveClosed(own)
    const choose = (code: string) => door.ask('/sign-in/first', { form: { code, password: PASSWORD, again: PASSWORD } })
    expect((await choose(first.code)).status).toBe(401) // each start makes the code of the one before worthless
    const chosen = await choose(again.code.toLowerCase().replaceAll('-', ' '))
    expect(chosen.status).toBe(303)
    expect((await door.ask('/api/v1/people', { headers: cookieFrom(chosen.headers) })).status).toBe(200)
    expect((await choose(again.code)).status).toBe(401)
    expect(await firstAdministrator(accessDeps(own))).toBeNull()
    expect((await own.deps.access.read.persons.byLogin('administrator'))!.passwordHash).toMatch(
      /^\$argon2id\$v=19\$m=19456,t=2,p=1\$/,
    ) // OWASP's first setting
    await door.close()
    await own.close()
  })

  it('a one-time code is worth nothing after a day', async () => {
    const { code } = await invite(
      accessDeps(world),
      {
        login: 'late-comer',
        name: 'Late',
        role: 'educator',
        clinicId: null,
        clinician: null,
        subject: null,
      },
      BY,
    )
    await later(24 * 60 * MINUTE + 1)
    expect((await served.ask('/sign-in/first', { form: { code, password: PASSWORD, again: PASSWORD } })).status).toBe(
      401,
    )
  })

  it.each(['short-pass1', 'password12345', 'qwertyuiop1234', 'clerk-smith-2026', 'daysixdaysix', 'x'.repeat(129)])(
    'refuses the password "%s"',
    async (password) => {
      const { code } = await invite(
        accessDeps(world),
        {
          login: `clerk-smith-${++count}`,
          name: 'Clerk Smith',
          role: 'educator',
          clinicId: null,
          clinician: null,
          subject: null,
        },
        BY,
      )
      expect((await served.ask('/sign-in/first', { form: { code, password, again: password } })).status).toBe(422)
    },
  )

  it('opens the desk of the own clinic, with a cookie that scripts and other sites cannot use', async () => {
    const { login } = await someone()
    const { status, headers } = await signIn(login.toUpperCase())
    expect(status).toBe(303)
    expect(headers.get('set-cookie')).toMatch(/^daysix=[\w-]{43}; Path=\/; HttpOnly; SameSite=Lax$/)
    expect((await served.ask('/desk', { headers: cookieFrom(headers) })).headers.get('location')).toBe(
      '/desk/harbour/bookings',
    )
    expect((await served.ask('/desk/harbour/bookings', { headers: cookieFrom(headers) })).status).toBe(200)
    expect((await served.ask('/desk/harbour/bookings')).headers.get('location')).toBe(
      '/sign-in?to=%2Fdesk%2Fharbour%2Fbookings',
    )
  })

  it('over TLS the cookie is bound to this host and to TLS', async () => {
    const secure = await serveClosed(world, { ...CLOSED, secure: true })
    const { login } = await someone()
    const form = { login, password: PASSWORD, code: '', to: '' }
    const fromOurs = { Origin: secure.base.replace('http:', 'https:') }
    const { headers } = await secure.ask('/sign-in', { form, headers: fromOurs })
    expect(headers.get('set-cookie')).toMatch(/^__Host-daysix=[\w-]{43}; Path=\/; HttpOnly; Secure; SameSite=Lax$/)
    await secure.close()
  })

  it.each([
    '//evil.example',
    'https://evil.example/desk',
    '/\\evil.example',
    '/desk//evil.example',
    '/desk\n',
    'javascript:alert(1)',
    '/deskevil',
  ])('never leads on to "%s"', async (to) => {
    const { login } = await someone()
    const { headers } = await served.ask('/sign-in', { form: { login, password: PASSWORD, code: '', to } })
    expect(headers.get('location')).toBe('/desk')
  })

  it('says the same of a wrong password and an unknown name, and takes as long', async () => {
    const { login } = await someone()
    const timed = async (name: string) => {
      const began = performance.now()
      const { status, text } = await signIn(name, 'not the password')
      return { status, text: text.replaceAll(/value="[^"]*"/g, ''), took: performance.now() - began }
    }
    const known = await timed(login)
    const unknown = await timed('nobody-at-all')
    expect(unknown.text).toBe(known.text)
    expect([known.status, unknown.status]).toEqual([401, 401])
    expect(unknown.took).toBeGreaterThan(known.took / 5) // without a hash to check it would be far quicker
  })

  it('waits longer and longer after five failures, and then lets the right person in', async () => {
    expect([4, 5, 6, 7, 10, 50].map((failures) => waitAfter(failures))).toEqual([
      0, 30_000, 60_000, 120_000, 900_000, 900_000,
    ])
    const { login } = await someone()
    for (let i = 0; i < 5; i++) expect((await signIn(login, 'wrong')).status).toBe(401)
    expect((await signIn(login)).status).toBe(401)
    await later(30_001)
    expect((await signIn(login)).status).toBe(303)
  })

  it('guesses made all at once are counted one by one', async () => {
    const { login } = await someone()
    await world.composed.database.records.query('delete from daysix.sign_in_try')
    await Promise.all(Array.from({ length: 12 }, (_, i) => signIn(login, `guess ${i}`)))
    const { rows } = await world.composed.database.records.query(
      'select * from daysix.sign_in_try order by locked_until',
    )
    expect(rows.map(({ failures }) => failures)).toEqual([5, 5])
    expect((rows[0]!.locked_until as Date).getTime()).toBeGreaterThan(world.clock.now().getTime())
  })

  it('tells an address that tries too often to slow down', async () => {
    const answers = await Promise.all(
      Array.from({ length: 40 }, (_, i) =>
        served.ask('/sign-in', { form: { login: `guess-${i}`, password: 'x', code: '', to: '' } }),
      ),
    )
    expect(answers.filter(({ status }) => status === 429)).toHaveLength(10)
    expect(answers.find(({ status }) => status === 429)!.headers.get('retry-after')).toMatch(/^\d+$/)
  })

  it('a session ends after half an hour of nothing, and after twelve hours whatever happens', async () => {
    const { id } = await someone()
    const look = async (headers: Record<string, string>) =>
      (await served.ask('/desk/harbour/bookings', { headers })).status
    const idle = await cookieOf(world, id)
    await later(29 * MINUTE)
    expect(await look(idle)).toBe(200)
    await later(31 * MINUTE)
    expect(await look(idle)).toBe(303)
    const busy = await cookieOf(world, id)
    for (let i = 0; i < 24; i++) {
      await later(29 * MINUTE)
      expect(await look(busy)).toBe(200)
    }
    await later(29 * MINUTE)
    expect(await look(busy)).toBe(303)
  })

  it('signing out, being disabled and a new password each end sessions at once', async () => {
    const clerk = await someone()
    const look = async (headers: Record<string, string>) =>
      (await served.ask('/desk/harbour/bookings', { headers })).status
    const one = await cookieOf(world, clerk.id)
    await served.ask('/sign-out', { method: 'POST', headers: one, form: {} })
    expect(await look(one)).toBe(303)
    const [two, three] = [await cookieOf(world, clerk.id), await cookieOf(world, clerk.id)]
    const changed = await served.ask('/account/password', {
      headers: two,
      form: { old: PASSWORD, password: 'brisk otter lantern wharf', again: 'brisk otter lantern wharf' },
    })
    expect(changed.status).toBe(200)
    expect([await look(two), await look(three), await look(cookieFrom(changed.headers))]).toEqual([303, 303, 200])
    await disable(accessDeps(world), clerk.login, BY)
    expect(await look(cookieFrom(changed.headers))).toBe(303)
    expect((await signIn(clerk.login, 'brisk otter lantern wharf')).status).toBe(401)
  })

  it.each([{ Origin: 'https://evil.example' }, { 'Sec-Fetch-Site': 'cross-site' }, { 'Sec-Fetch-Site': 'same-site' }])(
    "a request from another site (%o) does nothing in the patient's name",
    async (foreign) => {
      const { id } = await someone('administrator')
      const headers = { ...(await cookieOf(world, id)), ...foreign }
      expect((await served.ask('/api/v1/clinics/harbour', { method: 'PUT', json: {}, headers })).status).toBe(401)
      expect(
        (await served.ask('/api/v1/people', { json: { login: 'mallory', name: 'M', role: 'administrator' }, headers }))
          .status,
      ).toBe(401)
      expect((await served.ask('/account/codes', { form: { end: 'yes' }, headers })).status).toBe(401)
      expect(
        (await served.ask('/sign-in', { form: { login: 'x', password: 'y', code: '', to: '' }, headers })).status,
      ).toBe(401)
      expect(await world.deps.access.read.persons.byLogin('mallory')).toBeUndefined()
    },
  )

  it('takes codes as RFC 6238 makes them', () => {
    // Appendix B, SHA-1, the last six of eight digits.
    const secret = Secret.fromUTF8('12345678901234567890').base32
    for (const [seconds, code] of [
      [59, '287082'],
      [1_111_111_109, '081804'],
      [1_234_567_890, '005924'],
      [20_000_000_000, '353130'],
    ] as const) {
      expect(totpStepOf(secret, 'x', code, new Date(seconds * 1000))).toBe(Math.floor(seconds / 30))
      expect(totpStepOf(secret, 'x', code, new Date(seconds * 1000 + 120_000))).toBeNull()
    }
  })

  it('asks for a code where one is set up, and takes none twice', async () => {
    const clerk = await someone()
    const secret = 'JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP'
    await giveCodes(world, clerk.id, secret)
    const { TOTP } = await import('otpauth')
    const code = new TOTP({ secret: Secret.fromBase32(secret) }).generate({ timestamp: world.clock.now().getTime() })
    expect((await signIn(clerk.login)).status).toBe(401)
    expect((await signIn(clerk.login, 'wrong', code)).status).toBe(401)
    expect((await signIn(clerk.login, PASSWORD, code)).status).toBe(303)
    expect((await signIn(clerk.login, PASSWORD, code)).status).toBe(401)
  })

  it('an API key is kept as a hash only, and is worth nothing once revoked or expired', async () => {
    const { key, secret } = await makeApiKey(
      accessDeps(world),
      {
        name: 'import',
        may: ['visits:read'],
        clinicId: null,
        expiresAt: new Date(world.clock.now().getTime() + MINUTE),
      },
      BY,
    )
    const read = async (given = secret) => (await served.ask('/api/v1/bookings', { headers: bearer(given) })).status
    expect(await read()).toBe(200)
    const rows = await world.composed.database.records.query('select * from api_key')
    expect(JSON.stringify(rows.rows)).not.toContain(secret.split('_')[2])
    expect(await read(`${secret}x`)).toBe(401)
    await later(MINUTE + 1)
    expect(await read()).toBe(401)
    const lasting = await makeApiKey(
      accessDeps(world),
      {
        name: 'import',
        may: ['visits:read'],
        clinicId: null,
        expiresAt: null,
      },
      BY,
    )
    expect(await read(lasting.secret)).toBe(200)
    await revokeApiKey(accessDeps(world), lasting.key.id, BY)
    expect([await read(lasting.secret), key.hash.length]).toEqual([401, 43])
  })

  it('the key of the environment is an administrator’s, and a wrong one is never passed over', async () => {
    expect((await served.ask('/api/v1/people', { headers: bearer(API_KEY) })).status).toBe(200)
    expect((await served.ask('/api/v1/bookings', { headers: bearer(`${API_KEY}x`) })).status).toBe(401)
    expect((await served.ask('/api/v1/bookings')).status).toBe(401)
  })

  it('without any setting this machine may use the API by its local names, others may not', async () => {
    const open = await serveClosed(world, usualSettings(undefined))
    expect((await open.ask('/api/v1/bookings')).status).toBe(200)
    expect((await open.ask('/api/v1/bookings', { headers: bearer('a-wrong-key') })).status).toBe(401)
    const { request } = await import('node:http')
    const foreign = await new Promise<number>((done) =>
      request(`${open.base}/api/v1/bookings`, { headers: { Host: 'rebound.example' } }, (answer) =>
        done(answer.resume().statusCode!),
      ).end(),
    )
    expect(foreign).toBe(401)
    await open.close()
  })

  it('no setting opens the pages: only the demo’s own code can, and not in production', () => {
    expect(loadConfig({ NODE_ENV: 'development', OPEN_DESK: 'true', openDesk: 'true' }).openDesk).toBe(false)
  })
})
