import { createHmac } from 'node:crypto'
import nock from 'nock'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { createHttpGateway } from '../../src/adapters/gateways/http/http-gateway.ts'
import { Failure } from '../../src/domain/failure.ts'
import { recordingEars } from './recording-ears.ts'

const NOW = new Date('2026-03-17T12:00:00Z')
const SECRETS: Record<string, string> = { API_TOKEN: 't0k{to}n', SIGNING_KEY: 'signing', HOOK_KEY: 'a/b&c' }
const MESSAGE = {
  id: 'm-1',
  channel: 'sms' as const,
  to: '+16135550142',
  text: 'Où? 5 < 6 & "oui"',
  language: 'fr',
  notAfter: new Date('2026-03-17T13:30:00Z'),
}
const RECEIPTS = { auth: { kind: 'query', secret: 'env:HOOK_KEY' }, state: 'query:type', states: { '1': 'delivered' } }

function gateway(request: object, rest: object = {}) {
  const raw = {
    kind: 'http',
    name: 'texter',
    from: 'CLINIC',
    request: { url: 'https://texts.example/v1/send', ...request },
    ...rest,
  }
  return createHttpGateway(raw, {
    clock: { now: () => NOW },
    secret: (name) => SECRETS[name],
    callbackUrl: 'https://clinic.example/gateways/texter',
  })
}

async function send(request: object, rest: object = {}, message = MESSAGE) {
  const texter = gateway(request, rest)
  await texter.start(recordingEars())
  const outcome = await texter.send(message)
  await texter.stop()
  return outcome
}

/** The fields that a refused configuration names. */
function faultsOf(work: () => unknown): string[] {
  try {
    work()
  } catch (error) {
    if (error instanceof Failure) return error.detail.faults?.map((fault) => fault.field) ?? [error.detail.field ?? '']
    throw error
  }
  return []
}

function peer() {
  return nock('https://texts.example')
}

// It stands in the way of every request of this process: so only while the tests of this file run.
beforeAll(() => {
  if (!nock.isActive()) nock.activate()
})
beforeEach(() => nock.disableNetConnect())
afterAll(() => nock.restore())
afterEach(() => {
  expect(nock.pendingMocks()).toEqual([])
  nock.cleanAll()
  nock.enableNetConnect()
})

describe('a request described in a configuration', () => {
  it('carries its fields in the query, each encoded once', async () => {
    const wanted = { to: '16135550142', text: MESSAGE.text, coding: '0', valid: '90', sender: 'CLINIC' }
    peer().get('/v1/send').query(wanted).reply(200)
    const query = { to: '{to_no_plus}', text: '{text}', coding: '{coding}', valid: '{validity_min}', sender: '{from}' }
    expect(await send({ method: 'GET', query })).toEqual({ kind: 'accepted' })
  })

  it('says UCS-2 in the words of the peer when the text needs it, and can carry it in hexadecimal', async () => {
    peer().get('/v1/send').query({ type: 'unicode', text: '0421d83dde00' }).reply(200)
    const codings = { 'GSM-7': 'plain', 'UCS-2': 'unicode' }
    const query = { type: '{coding}', text: '{text|utf16be_hex}' }
    expect(await send({ method: 'GET', query }, { codings }, { ...MESSAGE, text: 'С😀' })).toEqual({ kind: 'accepted' })
  })

  it('carries a form', async () => {
    peer()
      .post('/v1/send', { To: '+16135550142', Body: MESSAGE.text })
      .matchHeader('content-type', 'application/x-www-form-urlencoded')
      .reply(201)
    expect(await send({ method: 'POST', body: { as: 'form', fields: { To: '{to}', Body: '{text}' } } })).toEqual({
      kind: 'accepted',
    })
  })

  it('carries JSON whatever signs the text holds, with numbers where asked', async () => {
    peer()
      .post('/v1/send', { messages: [{ to: '+16135550142', text: MESSAGE.text, ttl: 90, test: false }] })
      .reply(202)
    const value = { messages: [{ to: '{to}', text: '{text}', ttl: '{validity_min|number}', test: false }] }
    expect(await send({ method: 'POST', body: { as: 'json', value } })).toEqual({ kind: 'accepted' })
  })

  it('carries XML in which the text cannot break out of its place', async () => {
    peer().post('/v1/send', '<sms to="16135550142">Où? 5 &#60; 6 &#38; &#34;oui&#34;</sms>').reply(200)
    const body = {
      as: 'raw',
      contentType: 'text/xml; charset=utf-8',
      escape: 'xml',
      text: '<sms to="{to_no_plus}">{text}</sms>',
    }
    expect(await send({ method: 'POST', body })).toEqual({ kind: 'accepted' })
  })

  it('carries raw UTF-16', async () => {
    peer()
      .post('/v1/send', (body) => Buffer.from(body, 'hex').toString('hex') === '004f00f9')
      .reply(200)
    const body = {
      as: 'raw',
      contentType: 'application/octet-stream',
      escape: 'none',
      charset: 'utf-16be',
      text: '{text}',
    }
    expect(await send({ method: 'POST', body }, {}, { ...MESSAGE, text: 'Où' })).toEqual({ kind: 'accepted' })
  })

  it('hands the peer an address to call back, whole inside another address', async () => {
    const address = 'https://clinic.example/gateways/texter/receipt?id=m-1&key=a%2Fb%26c&type=%d'
    peer()
      .get('/v1/send')
      .query((query) => query.hook === address)
      .reply(200)
    expect(await send({ method: 'GET', query: { hook: '{receipt_url}&type=%d' } }, { receipts: RECEIPTS })).toEqual({
      kind: 'accepted',
    })
  })

  it('keeps a line end in a header from becoming a header of its own', async () => {
    peer().get('/v1/send').matchHeader('x-text', 'one x-admin: yes').reply(200)
    expect(
      await send({ method: 'GET', headers: { 'X-Text': '{text}' } }, {}, { ...MESSAGE, text: 'one\nx-admin: yes' }),
    ).toEqual({ kind: 'accepted' })
  })

  it('shows a bearer token or a password from the environment, never read as a template', async () => {
    peer().get('/v1/send').matchHeader('authorization', 'Bearer t0k{to}n').reply(200)
    expect(await send({ method: 'GET', auth: { kind: 'bearer', token: 'env:API_TOKEN' } })).toEqual({
      kind: 'accepted',
    })
    peer().get('/v1/send').basicAuth({ user: 'clinic', pass: 'signing' }).matchHeader('x-key', 't0k{to}n').reply(200)
    const auth = { kind: 'basic', user: 'clinic', password: 'env:SIGNING_KEY' }
    expect(await send({ method: 'GET', headers: { 'X-Key': 'env:API_TOKEN' }, auth })).toEqual({ kind: 'accepted' })
  })

  it('signs time, path and body with HMAC', async () => {
    const body = '{"text":"Hi"}'
    const seconds = String(NOW.getTime() / 1000)
    const expected = createHmac('sha512', 'signing').update(`${seconds}\nPOST\n/v1/send?v=2\n${body}`).digest('base64')
    peer()
      .post('/v1/send?v=2', body)
      .matchHeader('x-time', seconds)
      .matchHeader('x-signature', `v1=${expected}`)
      .reply(200)
    const auth = {
      kind: 'hmac',
      secret: 'env:SIGNING_KEY',
      algorithm: 'sha512',
      signed: '{timestamp}\n{method}\n{path}\n{body}',
      header: 'X-Signature',
      prefix: 'v1=',
      encoding: 'base64',
      timestampHeader: 'X-Time',
    }
    const request = {
      method: 'POST',
      url: 'https://texts.example/v1/send',
      query: { v: '2' },
      body: { as: 'json', value: { text: '{text}' } },
      auth,
    }
    expect(await send(request, {}, { ...MESSAGE, text: 'Hi' })).toEqual({ kind: 'accepted' })
  })

  it('is not made for a message that has lost its worth', async () => {
    expect(await send({ method: 'GET' }, {}, { ...MESSAGE, notAfter: NOW })).toEqual({
      kind: 'rejected',
      code: 'expired',
    })
  })
})

describe('an answer read by rules', () => {
  const rules = {
    answers: [
      { status: 202, body: '^[03]:', means: 'accepted' },
      { status: 200, json: { 'errors[0].code': '^(21|22)$' }, means: 'rejected', code: 'json:errors[0].code' },
      { status: '5xx', body: 'queue full', means: 'throttled' },
      { status: 200, json: { status: '^0$' }, means: 'accepted' },
      { status: 200, means: 'later' },
    ],
    ref: 'json:messages[0].id',
  }
  async function answered(
    status: number,
    body: string | object,
    headers: Record<string, string> = {},
    rest: object = rules,
  ) {
    peer().get('/v1/send').reply(status, body, headers)
    return send({ method: 'GET' }, rest)
  }

  it('takes the first rule that holds for status and body', async () => {
    expect(await answered(202, '3: Queued for later delivery')).toEqual({ kind: 'accepted' })
    expect(await answered(200, { errors: [{ code: 21 }] })).toEqual({ kind: 'rejected', code: '21' })
    expect(await answered(500, 'sorry, queue full')).toEqual({ kind: 'throttled', code: 'http-500' })
    expect(await answered(200, { status: 0, messages: [{ id: 'abc' }] })).toEqual({ kind: 'accepted', ref: 'abc' })
    expect(await answered(200, 'what?')).toEqual({ kind: 'later', code: 'http-200' })
  })

  it('is of unknown fate where a rule says what success looks like, and this is neither that nor anything else', async () => {
    const answers = [{ status: 200, json: { status: '^0$' }, means: 'accepted' }]
    expect(await answered(200, '<html>Welcome</html>', {}, { answers })).toEqual({ kind: 'unknown', code: 'http-200' })
    expect(await answered(204, '', {}, { answers })).toEqual({ kind: 'unknown', code: 'http-204' })
    expect(await answered(200, { status: 0 }, {}, { answers })).toEqual({ kind: 'accepted' })
    expect((await answered(200, 'what?', {}, { answers: [{ status: 422, means: 'rejected' }] })).kind).toBe('accepted')
  })

  it.each([
    [200, 'accepted'],
    [204, 'accepted'],
    [302, 'misconfigured'],
    [400, 'rejected'],
    [401, 'misconfigured'],
    [403, 'misconfigured'],
    [408, 'unknown'],
    [422, 'rejected'],
    [429, 'throttled'],
    [500, 'unknown'],
    [502, 'unknown'],
    [503, 'later'],
    [504, 'unknown'],
  ])('without a rule, status %i means %s', async (status, kind) => {
    expect((await answered(status, '', {}, {})).kind).toBe(kind)
  })

  it('comes back when the peer says, in seconds or at a date', async () => {
    expect(await answered(429, '', { 'retry-after': '30' })).toEqual({
      kind: 'throttled',
      code: 'http-429',
      retryAfterMs: 30_000,
    })
    expect(await answered(503, '', { 'retry-after': 'Tue, 17 Mar 2026 12:02:00 GMT' })).toMatchObject({
      kind: 'later',
      retryAfterMs: 120_000,
    })
    expect(await answered(503, '', { 'retry-after': 'soon' })).toEqual({ kind: 'later', code: 'http-503' })
  })

  it('takes no code that could hold a phone number', async () => {
    const rest = { answers: [{ status: 400, means: 'rejected', code: 'body:^(.*)$' }] }
    expect(await answered(400, 'to=16135550142', {}, rest)).toEqual({ kind: 'rejected', code: 'http-400' })
    expect(await answered(400, 'bad number', {}, rest)).toEqual({ kind: 'rejected', code: 'http-400' })
    expect(await answered(400, 'E-113', {}, rest)).toEqual({ kind: 'rejected', code: 'E-113' })
  })
})

describe('a configuration that cannot work', () => {
  it('is refused with every fault at once', () => {
    const request = { method: 'PATCH', url: 'texts.example', query: {}, auth: { kind: 'bearer', token: 'hunter2' } }
    expect(faultsOf(() => gateway(request, { surprise: 1, answers: [{ body: '(', means: 'accepted' }] }))).toEqual([
      'request.method',
      'request.url',
      'request.auth.token',
      'answers.0.body',
      'gateway',
    ])
  })

  it('is refused when it names a field, a filter or a secret that does not exist', () => {
    expect(faultsOf(() => gateway({ method: 'GET', query: { to: '{too}' } }))).toEqual(['request.query.to'])
    expect(faultsOf(() => gateway({ method: 'GET', query: { to: '{to|shout}' } }))).toEqual(['request.query.to'])
    const secrets = { method: 'GET', headers: { 'x-a': 'env:NO_SUCH' }, query: { b: 'env:NOR_THIS' } }
    expect(faultsOf(() => gateway(secrets)).sort()).toEqual(['NOR_THIS', 'NO_SUCH'])
  })

  it('is refused when it hands out an address where nobody listens', () => {
    expect(faultsOf(() => gateway({ method: 'GET', query: { hook: '{receipt_url}' } }))).toEqual(['request'])
  })

  it('is refused when callbacks could be replayed for ever, or a reply told again could not be recognised', () => {
    const auth = { kind: 'hmac', secret: 'env:SIGNING_KEY', signed: '{body}', header: 'x-signature' }
    expect(faultsOf(() => gateway({ method: 'GET' }, { receipts: { ...RECEIPTS, auth } }))).not.toEqual([])
    const replies = { auth: RECEIPTS.auth, from: 'query:from', text: 'query:text' }
    expect(faultsOf(() => gateway({ method: 'GET' }, { replies }))).toEqual(['replies'])
  })
})
