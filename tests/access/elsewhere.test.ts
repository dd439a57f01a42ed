import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import Provider from 'oidc-provider'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { createProvider } from '../../src/adapters/sign-in/oidc.ts'
import { loadConfig } from '../../src/config.ts'
import { TestWorld } from '../harness/world.ts'
import { CLOSED, hire, serveClosed, type Served } from './signed-in.ts'

/** A browser as far as sign-in needs one: keeps cookies by host, follows redirects, posts forms. */
class Browser {
  readonly #jar = new Map<string, Map<string, string>>()

  async get(url: string, form?: Record<string, string>): Promise<{ url: string; status: number; text: string }> {
    const { host } = new URL(url)
    const cookies = [...(this.#jar.get(host) ?? [])].map(([name, value]) => `${name}=${value}`).join('; ')
    const response = await fetch(url, {
      redirect: 'manual',
      headers: {
        Cookie: cookies,
        Accept: 'text/html',
        ...(form && { 'Content-Type': 'application/x-www-form-urlencoded' }),
      },
      ...(form && { method: 'POST', body: new URLSearchParams(form) }),
    })
    for (const line of response.headers.getSetCookie()) this.#keep(host, line)
    const location = response.headers.get('location')
    if (location) return this.get(new URL(location, url).href)
    return { url, status: response.status, text: await response.text() }
  }

  #keep(host: string, line: string): void {
    const [, name, value] = /^([^=]+)=([^;]*)/.exec(line)!
    const own = this.#jar.get(host) ?? new Map<string, string>()
    if (value === '') own.delete(name!)
    else own.set(name!, value!)
    this.#jar.set(host, own)
  }
}

describe('signing in by an identity provider', () => {
  let world: TestWorld
  let served: Served
  let identity: Server
  let issuer: string

  beforeAll(async () => {
    world = await TestWorld.create(new Date().toISOString())
    identity = createServer((request, response) => provider.callback()(request, response))
    await new Promise<void>((done) => identity.listen(0, 'localhost', done))
    issuer = `http://localhost:${(identity.address() as AddressInfo).port}`
    const authSettings = { ...CLOSED }
    served = await serveClosed(world, authSettings)
    const redirectUri = `${served.base}/sign-in/elsewhere`
    await served.close()
    const port = Number(new URL(redirectUri).port)
    const provider = new Provider(issuer, {
      clients: [
        {
          client_id: 'daysix',
          client_secret: 'a-secret-of-the-provider',
          redirect_uris: [redirectUri],
          token_endpoint_auth_method: 'client_secret_post',
        },
      ],
      findAccount: (_context: unknown, id: string) => ({ accountId: id, claims: async () => ({ sub: id }) }),
      cookies: { keys: ['a-key-of-the-test'] },
      pkce: { required: () => true },
    })
    const settings = {
      issuer,
      clientId: 'daysix',
      clientSecret: 'a-secret-of-the-provider',
      claim: 'sub',
      redirectUri,
      allowHttp: true,
    }
    served = await serveClosed(world, { ...CLOSED, provider: createProvider(settings, world.composed.vault) }, port)
    await hire(world, { login: 'by-provider', role: 'desk', clinicId: 'harbour', subject: 'jane-at-the-clinic' })
  })
  afterAll(async () => {
    await served.close()
    identity.close()
    await world.close()
  })

  /** Goes to the provider, signs in there as somebody, agrees, and comes back. */
  async function goThrough(browser: Browser, name: string) {
    const login = await browser.get(`${served.base}/sign-in/elsewhere/start`)
    expect(login.url).toContain(`${issuer}/interaction/`)
    const consent = await browser.get(login.url, { prompt: 'login', login: name, password: 'x' })
    return consent.url.startsWith(issuer) ? browser.get(consent.url, { prompt: 'consent' }) : consent
  }

  it('somebody an administrator has named comes in at the own clinic', async () => {
    const { url, status } = await goThrough(new Browser(), 'jane-at-the-clinic')
    expect([url, status]).toEqual([`${served.base}/desk/harbour/bookings`, 200])
  })

  it('somebody nobody has named does not, whatever the provider says', async () => {
    const { status, text } = await goThrough(new Browser(), 'stranger')
    expect(status).toBe(401)
    expect(text).toContain('Nobody here is known by this account')
  })

  it('an answer that was asked for by another browser, or forged, opens nothing', async () => {
    const stolen = await fetch(`${served.base}/sign-in/elsewhere?code=abc&state=def`, { redirect: 'manual' })
    expect(stolen.status).toBe(401)
    const victim = new Browser()
    await victim.get(`${served.base}/sign-in/elsewhere/start`)
    expect((await victim.get(`${served.base}/sign-in/elsewhere?code=abc&state=def`)).status).toBe(401)
  })

  it('settings for it come together, and in production over TLS', () => {
    expect(() => loadConfig({ OIDC_ISSUER: 'https://id.example' })).toThrow(/OIDC_CLIENT_ID/)
    expect(() =>
      loadConfig({
        NODE_ENV: 'production',
        OIDC_ISSUER: 'http://id.example',
        OIDC_CLIENT_ID: 'a',
        OIDC_CLIENT_SECRET: 'b',
      }),
    ).toThrow(/must speak TLS/)
  })

  it('the service does not start in production before it is said who answers urgent replies outside hours', () => {
    expect(() => loadConfig({ NODE_ENV: 'production' })).toThrow(/ALARM_COVER/)
  })
})
