import { createSign, generateKeyPairSync, type KeyObject } from 'node:crypto'
import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { createProvider, type Provider } from '../../src/adapters/sign-in/oidc.ts'
import { signInAs } from '../../src/adapters/sign-in/sign-in.ts'
import { TestWorld } from '../harness/world.ts'
import { accessDeps, hire } from './signed-in.ts'

const part = (value: object) => Buffer.from(JSON.stringify(value)).toString('base64url')

// A provider of the test's own, since a good library signs nothing wrongly. OpenID Connect Core 1.0, 3.1.3.7; RFC 7515.
describe('an ID token', () => {
  const listed = generateKeyPairSync('rsa', { modulusLength: 2048 })
  const foreign = generateKeyPairSync('rsa', { modulusLength: 2048 })
  let world: TestWorld
  let server: Server
  let issuer: string
  let provider: Provider
  let nonce: string
  let signedBy: KeyObject

  function idToken(): string {
    const seconds = Math.floor(Date.now() / 1000)
    const claims = { iss: issuer, sub: 'jane', aud: 'daysix', iat: seconds, exp: seconds + 300, nonce }
    const signed = `${part({ alg: 'RS256', kid: 'k1', typ: 'JWT' })}.${part(claims)}`
    return `${signed}.${createSign('RSA-SHA256').update(signed).sign(signedBy).toString('base64url')}`
  }

  function answerTo(url: string): object {
    if (url.startsWith('/.well-known'))
      return {
        issuer,
        authorization_endpoint: `${issuer}/authorize`,
        token_endpoint: `${issuer}/token`,
        jwks_uri: `${issuer}/jwks`,
        response_types_supported: ['code'],
        subject_types_supported: ['public'],
        id_token_signing_alg_values_supported: ['RS256'],
      }
    if (url === '/jwks')
      return { keys: [{ ...listed.publicKey.export({ format: 'jwk' }), kid: 'k1', alg: 'RS256', use: 'sig' }] }
    return { access_token: 'x', token_type: 'Bearer', expires_in: 300, id_token: idToken() }
  }

  beforeAll(async () => {
    world = await TestWorld.create(new Date().toISOString())
    server = createServer((request, response) =>
      response.setHeader('Content-Type', 'application/json').end(JSON.stringify(answerTo(request.url!))),
    )
    await new Promise<void>((done) => server.listen(0, 'localhost', done))
    issuer = `http://localhost:${(server.address() as AddressInfo).port}`
    const settings = { issuer, clientId: 'daysix', clientSecret: 's', claim: 'sub', allowHttp: true }
    provider = createProvider({ ...settings, redirectUri: 'http://127.0.0.1/sign-in/elsewhere' }, world.composed.vault)
  })
  afterAll(async () => {
    server.close()
    await world.close()
  })

  const spend = (state: string) =>
    world.deps.access.transact((tx) => tx.tries.spend(tx.tries.printOf(`elsewhere ${state}`), world.clock.now()))

  /** @returns how to come back with the provider's answer, as often as one likes */
  async function goThere() {
    const { to, cookie } = await provider.begin(world.clock.now())
    const asked = new URL(to).searchParams
    nonce = asked.get('nonce')!
    const answer = new URL(`http://127.0.0.1/sign-in/elsewhere?code=c&state=${asked.get('state')}`)
    return () => provider.finish(answer, cookie, world.clock.now(), spend)
  }

  it('is taken when a key that the provider lists has signed it', async () => {
    signedBy = listed.privateKey
    expect(await (await goThere())()).toEqual({ issuer, subject: 'jane' })
  })

  it('is refused when any other key has', async () => {
    signedBy = foreign.privateKey
    await expect((await goThere())()).rejects.toThrow(/unauthorized/)
  })

  it('comes in once: the same answer with the same cookie opens nothing again', async () => {
    signedBy = listed.privateKey
    const comeBack = await goThere()
    await comeBack()
    await expect(comeBack()).rejects.toThrow(/unauthorized/)
  })

  it('names a person of its own issuer only, where a person is tied to one', async () => {
    await hire(world, { login: 'tied', role: 'educator', subject: `${issuer} jane` })
    await hire(world, { login: 'older', role: 'educator', subject: 'joan' })
    const deps = accessDeps(world)
    await expect(signInAs(deps, { issuer, subject: 'jane' })).resolves.toMatch(/^[\w-]{43}$/)
    await expect(signInAs(deps, { issuer: 'https://other.example', subject: 'jane' })).rejects.toThrow(/unauthorized/)
    await expect(signInAs(deps, { issuer, subject: 'joan' })).resolves.toMatch(/^[\w-]{43}$/)
  })
})
