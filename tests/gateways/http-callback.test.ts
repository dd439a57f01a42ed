import { createHmac } from 'node:crypto'
import { describe, expect, it } from 'vitest'
import { createHttpGateway } from '../../src/adapters/gateways/http/http-gateway.ts'
import type { Callback } from '../../src/flows/ports/gateway.ts'
import { recordingEars } from './recording-ears.ts'

const NOW = new Date('2026-03-17T12:00:00Z')
const SECRETS: Record<string, string> = { HOOK_KEY: 'open sesame', NEW_KEY: 'barley' }
const BY_QUERY = { kind: 'query', secret: 'env:HOOK_KEY' }
const BY_HMAC = {
  kind: 'hmac',
  secret: ['env:HOOK_KEY', 'env:NEW_KEY'],
  signed: '{timestamp}.{body}',
  header: 'X-Signature',
  prefix: 'sha256=',
  timestampHeader: 'X-Time',
}
const STATES = { DELIVRD: 'delivered', UNDELIV: 'undelivered', BUFFERED: 'ignore' }
const RECEIPTS = { auth: BY_QUERY, state: 'query:state', states: STATES, ref: 'query:ref', code: 'query:err' }
const REPLIES = { auth: BY_QUERY, from: 'query:from', text: 'query:text', key: 'query:id' }

async function listening(mappings: object) {
  const ears = recordingEars()
  const request = { method: 'GET', url: 'https://texts.example/send' }
  const deps = { clock: { now: () => NOW }, secret: (name: string) => SECRETS[name] }
  const gateway = createHttpGateway({ kind: 'http', name: 'texter', request, ...mappings }, deps)
  await gateway.start(ears)
  const call = (
    path: Callback['path'],
    query: Record<string, string>,
    body: string | Buffer = '',
    headers: Record<string, string> = {},
  ) =>
    gateway.callback({
      path,
      method: 'POST',
      url: `/gateways/texter/${path}?${new URLSearchParams({ key: 'open sesame', ...query })}`,
      query: { key: 'open sesame', ...query },
      headers,
      body: Buffer.from(body),
    })
  return { gateway, ears, call }
}

describe('a receipt called back', () => {
  it('is told once understood, and answered with an empty body', async () => {
    const { ears, call } = await listening({ receipts: RECEIPTS })
    expect(await call('receipt', { id: 'm1', ref: 'r9', state: 'UNDELIV', err: '0x0b' })).toEqual({
      status: 200,
      body: '',
    })
    expect(ears.receipts).toEqual([
      { gateway: 'texter', messageId: 'm1', ref: 'r9', state: 'undelivered', code: '0x0b', at: NOW },
    ])
  })

  it('has no code when the message arrived, whatever the peer gives', async () => {
    const { ears, call } = await listening({ receipts: RECEIPTS })
    await call('receipt', { id: 'm1', state: 'DELIVRD', err: 'E77' })
    expect(ears.receipts).toEqual([{ gateway: 'texter', messageId: 'm1', state: 'delivered', at: NOW }])
  })

  it('says nothing when its state is one to ignore or one nobody knows', async () => {
    const { ears, call } = await listening({ receipts: RECEIPTS })
    expect((await call('receipt', { id: 'm1', state: 'BUFFERED' })).status).toBe(200)
    expect((await call('receipt', { id: 'm1', state: 'constructor' })).status).toBe(200)
    expect(ears.receipts).toEqual([])
  })

  it('is garbage without a state, or without any id', async () => {
    const { call } = await listening({ receipts: RECEIPTS })
    expect((await call('receipt', { id: 'm1' })).status).toBe(400)
    expect((await call('receipt', { state: 'DELIVRD' })).status).toBe(400)
  })

  it('comes in lists, each with its own time', async () => {
    const each = { each: 'json:events', ourId: 'json:meta.id', state: 'json:status', at: 'json:t', atFormat: 'unix' }
    const { ears, call } = await listening({ receipts: { ...RECEIPTS, ...each, ref: undefined, code: undefined } })
    const events = [
      { meta: { id: 'a' }, status: 'DELIVRD', t: 1773748800 },
      { meta: {} },
      { meta: { id: 'b' }, status: 'UNDELIV', t: 'x' },
    ]
    expect((await call('receipt', {}, JSON.stringify({ events }))).status).toBe(200)
    expect(ears.receipts.map(({ messageId, state, at }) => [messageId, state, at])).toEqual([
      ['a', 'delivered', new Date('2026-03-17T12:00:00Z')],
      ['b', 'undelivered', NOW],
    ])
    expect((await call('receipt', {}, '{"events":7}')).status).toBe(400)
    expect((await call('receipt', {}, 'not json')).status).toBe(400)
  })

  it('is to be told again when it could not be stored, or when the service is not up', async () => {
    const { gateway, ears, call } = await listening({ receipts: RECEIPTS })
    ears.refuse(1)
    expect((await call('receipt', { id: 'm1', state: 'DELIVRD' })).status).toBe(503)
    await gateway.stop()
    expect((await call('receipt', { id: 'm1', state: 'DELIVRD' })).status).toBe(503)
    expect(ears.receipts).toEqual([])
  })
})

describe('a reply called back', () => {
  it('is heard with its own id', async () => {
    const { ears, call } = await listening({ replies: REPLIES })
    expect(await call('reply', { id: 'r1', from: '16135550142', text: 'ça va' })).toEqual({ status: 200, body: '' })
    expect(ears.heards).toEqual([{ gateway: 'texter', key: 'r1', from: '+16135550142', text: 'ça va', at: NOW }])
  })

  it('without an id keeps one key when told again, and another for the same words at another time', async () => {
    const { ears, call } = await listening({ replies: { ...REPLIES, key: undefined, at: 'query:at' } })
    for (const at of ['2026-03-17T11:59:00Z', '2026-03-17T11:59:00Z', '2026-03-17T12:00:00Z']) {
      await call('reply', { from: '+16135550142', text: '1', at })
    }
    const [first, again, other] = ears.heards.map((heard) => heard.key)
    expect(again).toBe(first)
    expect(other).not.toBe(first)
  })

  it.each([
    ['+16135550142', undefined, '+16135550142'],
    ['16135550142', undefined, '+16135550142'],
    ['0016135550142', undefined, '+16135550142'],
    ['(613) 555-0142', 'CA', '+16135550142'],
    ['07700 900123', 'GB', '+447700900123'],
    ['+447700900123', 'CA', '+447700900123'],
  ])('from %s (national numbers of %s) comes from %s', async (from, country, expected) => {
    const { ears, call } = await listening({ replies: { ...REPLIES, country } })
    await call('reply', { id: 'r1', from, text: 'yes' })
    expect(ears.heards.map((heard) => heard.from)).toEqual([expected])
  })

  it.each(['BANK', '80001', ''])('from the sender "%s" is no patient\'s', async (from) => {
    const { ears, call } = await listening({ replies: REPLIES })
    expect((await call('reply', { id: 'r1', from, text: 'WIN' })).status).toBe(from === '' ? 400 : 200)
    expect(ears.heards).toEqual([])
  })

  it.each([
    ['text/plain; charset="UTF-8"', Buffer.from('œuf 😀')],
    ['text/plain; charset="UTF-16BE"', Buffer.from('œuf 😀', 'utf16le').swap16()],
    ['text/plain', Buffer.from('œuf 😀')],
  ])('is read from a body of %s', async (type, body) => {
    const { ears, call } = await listening({ replies: { ...REPLIES, text: 'body' } })
    await call('reply', { id: 'r1', from: '16135550142' }, body, { 'content-type': type })
    expect(ears.heards[0]!.text).toBe('œuf 😀')
  })

  it('is read as the value beside it says', async () => {
    const encoding = { by: 'query:dcs', as: { '0': 'utf-8', '8': 'utf-16be-hex', '3': 'base64' } }
    const { ears, call } = await listening({ replies: { ...REPLIES, encoding } })
    const texts = [
      ['0', 'oui'],
      ['8', '006f00750069d83dde00'],
      ['3', 'b3Vp'],
    ]
    for (const [dcs, text] of texts) await call('reply', { id: dcs!, from: '16135550142', dcs: dcs!, text: text! })
    expect(ears.heards.map((heard) => heard.text)).toEqual(['oui', 'oui😀', 'oui'])
  })

  it('with damaged bytes still reaches a person', async () => {
    const { ears, call } = await listening({ replies: { ...REPLIES, text: 'body' } })
    await call('reply', { id: 'r1', from: '16135550142' }, Buffer.from([0x53, 0x54, 0xff]), {
      'content-type': 'text/plain; charset=utf-8',
    })
    expect(ears.heards[0]).toMatchObject({ text: 'ST\ufffd', octets: '5354ff' })
  })

  it('is not taken where none are expected, nor when it is far too long', async () => {
    const { call } = await listening({ replies: REPLIES })
    expect((await call('receipt', { id: 'm1', state: 'DELIVRD' })).status).toBe(404)
    expect((await call('reply', { id: 'r1', from: '16135550142', text: 'x' }, 'x'.repeat(70_000))).status).toBe(413)
  })
})

describe('who may call back', () => {
  const body = '{"id":"m1","state":"DELIVRD"}'
  const receipts = { auth: BY_HMAC, ourId: 'json:id', state: 'json:state', states: STATES }
  const seconds = NOW.getTime() / 1000
  const signed = (secret: string, time: number, content = body) => ({
    'x-time': String(time),
    'x-signature': `sha256=${createHmac('sha256', secret).update(`${time}.${content}`).digest('hex')}`,
  })

  it('is shown by a signature under the old or the new secret', async () => {
    const { ears, call } = await listening({ receipts })
    for (const secret of ['open sesame', 'barley'])
      expect((await call('receipt', {}, body, signed(secret, seconds))).status).toBe(200)
    expect(ears.receipts).toHaveLength(2)
  })

  it('is not shown by a signature that is missing, forged, over another body, too old, or from the future', async () => {
    const { ears, call } = await listening({ receipts })
    const forged = [
      {},
      { 'x-time': String(seconds), 'x-signature': 'sha256=' },
      signed('wrong', seconds),
      signed('barley', seconds, body.replace('m1', 'm2')),
      signed('barley', seconds - 301),
      signed('barley', seconds + 301),
      { ...signed('barley', seconds - 500), 'x-time': String(seconds) },
      { ...signed('barley', seconds), 'x-signature': signed('barley', seconds)['x-signature'].slice(7) },
    ]
    for (const headers of forged) expect((await call('receipt', {}, body, headers)).status).toBe(401)
    expect(ears.receipts).toEqual([])
  })

  it('is shown by a signature over the address, as it was called', async () => {
    const auth = { ...BY_HMAC, signed: '{timestamp}{method}{path}{body}' }
    const { call } = await listening({ receipts: { ...receipts, auth } })
    const over = (path: string) => ({
      'x-time': String(seconds),
      'x-signature': `sha256=${createHmac('sha256', 'barley').update(`${seconds}POST${path}${body}`).digest('hex')}`,
    })
    const address = '/gateways/texter/receipt?key=open+sesame'
    expect((await call('receipt', {}, body, over(address))).status).toBe(200)
    for (const other of ['', '/gateways/texter/receipt', address.replace('receipt', 'reply')])
      expect((await call('receipt', {}, body, over(other))).status).toBe(401)
  })

  it('is shown by a signature and a time that share one header', async () => {
    const auth = {
      kind: 'hmac',
      secret: 'env:NEW_KEY',
      signed: '{timestamp}.{body}',
      header: 'Signature',
      pattern: '^t=(?<timestamp>\\d+),v1=(?<signature>\\w+)$',
    }
    const { call } = await listening({ receipts: { ...receipts, auth } })
    const signature = createHmac('sha256', 'barley').update(`${seconds}.${body}`).digest('hex')
    expect((await call('receipt', {}, body, { signature: `t=${seconds},v1=${signature}` })).status).toBe(200)
    expect((await call('receipt', {}, body, { signature: `t=${seconds - 9},v1=${signature}` })).status).toBe(401)
    expect((await call('receipt', {}, body, { signature: 'v1' })).status).toBe(401)
  })

  it('is shown by a bearer token or by a secret in the address, whole and exact', async () => {
    const { call } = await listening({
      receipts: { ...receipts, auth: { kind: 'bearer', token: 'env:NEW_KEY' } },
      replies: REPLIES,
    })
    expect((await call('receipt', {}, body, { authorization: 'Bearer barley' })).status).toBe(200)
    for (const authorization of ['Bearer barle', 'Bearer barley ', 'barley', 'Bearer ']) {
      expect((await call('receipt', {}, body, { authorization })).status).toBe(401)
    }
    for (const key of ['', 'open', 'open sesame ']) {
      expect((await call('reply', { id: 'r1', from: '16135550142', text: 'yes', key })).status).toBe(401)
    }
  })
})
