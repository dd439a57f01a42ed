import { createServer, type IncomingMessage, type Server } from 'node:http'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { AddressInfo } from 'node:net'
import { exportJWK, exportPKCS8, generateKeyPair } from 'jose'
import Provider from 'oidc-provider'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import {
  lookOnce,
  newServerMemory,
  startServer,
  type ServerSettings,
} from '../../src/adapters/schedule/fhir-server/poll-server.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import { TestWorld } from '../harness/world.ts'
import { appointment, bundle, participant, patient } from './fhir/resources.ts'
import { FEED as INVENTED } from './invented-feed.ts'

// A FHIR server that gives its list in pages, and only to whoever shows a token. Tokens are given by oidc-provider, which
// checks our assertions by itself (SMART App Launch 2, backend services: private_key_jwt, client_credentials).
const FEED: Feed = { ...INVENTED, name: 'server', usualLanguage: 'en' }
const listening = (server: Server) =>
  new Promise<string>((done) => {
    server.listen(0, 'localhost', () => done(`http://localhost:${(server.address() as AddressInfo).port}`))
  })

// The provider judges assertions by this machine's clock: so does the service here.
const START = Math.floor(Date.now() / 1000) * 1000
const after = (minutes: number) => new Date(START + minutes * 60_000)
const DAY = 24 * 60
const iso = (at: Date) => at.toISOString()

/** Another visit of another patient, changed at an instant. */
const visit = (id: string, lastUpdated: string, day: number) => [
  appointment({
    ...{ id, meta: { versionId: '1', lastUpdated }, start: iso(after(day * DAY)), end: iso(after(day * DAY + 20)) },
    participant: [participant(`Patient/p${id}`), participant('Location/GYN1')],
  }),
  patient({
    ...{ id: `p${id}`, identifier: [{ system: 'urn:skerry:mrn', value: id }], name: [{ family: `Gale ${id}` }] },
    telecom: [{ system: 'phone', use: 'mobile', value: `+1-782-555-01${id}` }],
  }),
]

describe('a FHIR server that is asked', () => {
  let world: TestWorld
  let folder: string
  let settings: ServerSettings
  let kept: ReturnType<typeof visit>[] = []
  let answer: ((request: IncomingMessage) => number | null) | null = null
  const asked: string[] = []
  const tokens = new Set<string>()
  const ends: (() => void)[] = []
  const made: { provider?: Provider } = {}

  beforeAll(async () => {
    world = await TestWorld.create(iso(after(0)), undefined, [], { feeds: [FEED] })
    folder = await mkdtemp(join(tmpdir(), 'daysix-server-'))
    const { privateKey, publicKey } = await generateKeyPair('ES384', { extractable: true })
    await writeFile(join(folder, 'key.pem'), await exportPKCS8(privateKey))
    await writeFile(
      join(folder, 'other.pem'),
      await exportPKCS8((await generateKeyPair('ES384', { extractable: true })).privateKey),
    )

    const identity = createServer((request, response) => void made.provider!.callback()(request, response))
    const issuer = await listening(identity)
    ends.push(() => identity.close())
    made.provider = new Provider(issuer, {
      clients: [
        {
          ...{ client_id: 'daysix', grant_types: ['client_credentials'], redirect_uris: [], response_types: [] },
          ...{ token_endpoint_auth_method: 'private_key_jwt', token_endpoint_auth_signing_alg: 'ES384' },
          jwks: { keys: [{ ...(await exportJWK(publicKey)), kid: 'k1', alg: 'ES384', use: 'sig' }] },
          scope: 'system/Appointment.rs system/Patient.rs',
        },
      ],
      scopes: ['system/Appointment.rs', 'system/Patient.rs'],
      ttl: { ClientCredentials: 7200 },
      features: { clientCredentials: { enabled: true } },
      clientAuthMethods: ['private_key_jwt'],
      enabledJWA: { clientAuthSigningAlgValues: ['ES384', 'RS384'] },
    })

    const server = createServer((request, response) => {
      const url = new URL(request.url!, 'http://x')
      const json = (status: number, body: unknown) =>
        response
          .writeHead(status, { 'Content-Type': 'application/fhir+json', 'Retry-After': '90' })
          .end(JSON.stringify(body))
      if (url.pathname === '/r4/.well-known/smart-configuration')
        return json(200, {
          token_endpoint: `${issuer}/token`,
          token_endpoint_auth_methods_supported: ['private_key_jwt'],
        })
      const token = /^Bearer (.+)$/.exec(request.headers.authorization ?? '')?.[1]
      if (!token) return json(401, {})
      tokens.add(token)
      asked.push(url.search)
      const status = answer?.(request)
      if (status) return json(status, {})
      const since = url.searchParams.get('_lastUpdated')?.slice(2) ?? ''
      const changed = kept.filter(([each]) => (each!.meta as { lastUpdated: string }).lastUpdated >= since)
      const page = Number(url.searchParams.get('page') ?? '0')
      const next = new URL(`${base}/Appointment${url.search}`)
      next.searchParams.set('page', String(page + 1))
      const more = page + 1 < changed.length && { link: [{ relation: 'next', url: next.href }] }
      return json(200, { ...bundle('searchset', ...(changed[page] ?? [])), ...more })
    })
    const base = `${await listening(server)}/r4`
    ends.push(() => server.close())
    const token = { clientId: 'daysix', keyFile: join(folder, 'key.pem'), keyId: 'k1', algorithm: 'ES384' as const }
    const scope = 'system/Appointment.rs system/Patient.rs'
    settings = {
      ...{ base, ownNetwork: true, everyMinutes: 1, search: 'Appointment?_include=Appointment:patient' },
      token: { ...token, scope, address: null },
    }
  })
  afterAll(async () => {
    for (const end of ends) end()
    await rm(folder, { recursive: true })
    await world.close()
  })
  const memory = newServerMemory()
  const look = (over: Partial<ServerSettings> = {}, remembered = memory) =>
    lookOnce(world.deps, FEED.name, { ...settings, ...over }, remembered)
  const times = async () =>
    (await world.deps.store.read.bookings.list({ limit: 50 })).map(({ visitAt }) => visitAt.toISOString())

  it('gives all its pages, to whoever signs an assertion with the right key', async () => {
    kept = [visit('11', iso(after(-8 * DAY)), 11), visit('12', iso(after(-7 * DAY)), 12)]
    await look()
    expect(await times()).toEqual([iso(after(11 * DAY)), iso(after(12 * DAY))])
    expect(asked).toHaveLength(2)
    expect(tokens.size).toBe(1)
  })

  it('is asked for no more than what has changed since, a little before that, and by the same token while it holds', async () => {
    asked.length = 0
    await world.clock.moveTo(after(4))
    kept.push(visit('13', iso(after(3)), 14))
    await look()
    expect(await times()).toHaveLength(3)
    expect(new URLSearchParams(asked[0]).get('_lastUpdated')).toBe(`ge${iso(after(-5))}`)
    await look()
    expect(await times()).toHaveLength(3)
  })

  it('is left alone for as long as it wishes, and asked from the same moment on', async () => {
    answer = () => 429
    await world.clock.moveTo(after(20))
    await look()
    answer = null
    asked.length = 0
    await look()
    expect(asked).toEqual([])
    await world.clock.moveTo(after(22))
    await look()
    expect(asked).toHaveLength(1)
  })

  it('that leads elsewhere, has no token for us or answers nonsense is a fault, which is said after three times', async () => {
    const faults = async () => (await world.deps.store.read.feeds.faults(FEED.name, 9)).map(({ why }) => why)
    const wrong = { token: { ...settings.token!, keyFile: join(folder, 'other.pem') } }
    const remembered = newServerMemory()
    await look(wrong, remembered)
    await look(wrong, remembered)
    expect(await faults()).toEqual([])
    await look(wrong, remembered)
    expect((await faults())[0]).toMatch(/could not be asked 3 times.*no token/)
    expect(JSON.stringify(await faults())).not.toContain('localhost')
    answer = () => 500
    const other = newServerMemory()
    for (let n = 0; n < 3; n++) await look({}, other)
    answer = null
    // Of one instant: in no order.
    expect(await faults()).toContainEqual(expect.stringMatching(/answers 500/))
  })

  it('is asked at once when it pings, however long it would have been till then', async () => {
    asked.length = 0
    const { news } = world.composed
    const stop = startServer(world.deps, FEED.name, { ...settings, everyMinutes: 60 }, news, () => {})
    await expect.poll(() => asked.length).toBe(1)
    news.tell('schedule-ping', { feed: 'another' })
    kept.push(visit('14', iso(after(25)), 15))
    news.tell('schedule-ping', { feed: FEED.name })
    await expect.poll(times).toHaveLength(4)
    await stop()
    news.tell('schedule-ping', { feed: FEED.name })
    expect(news.listening).toBe(0)
  })

  it('is not asked at an address of this machine unless its description allows that', async () => {
    const before = asked.length
    const remembered = newServerMemory()
    for (let n = 0; n < 3; n++) await look({ ownNetwork: false, token: null }, remembered)
    expect(asked).toHaveLength(before)
    const faults = (await world.deps.store.read.feeds.faults(FEED.name, 9)).map(({ why }) => why)
    expect(faults).toContainEqual(expect.stringContaining('not https'))
  })
})
