import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway, takesCallbacks } from '../../src/adapters/gateways/create-gateway.ts'
import { createVoiceHttpGateway } from '../../src/adapters/gateways/voice-http/voice-http-gateway.ts'
import type { CallScript, Step } from '../../src/domain/messages/voice/call-script.ts'
import type { KeyPress, Callback, CallbackGateway, Outgoing, Receipt } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { call, VALUES, writer } from '../messages/voice/example-calls.ts'
import { FATES, PATIENT } from './fates.ts'
import { platformConfig, TestPlatform, type Order } from './peers/test-platform.ts'
import { Webhook } from './webhook.ts'

const NOT_AFTER = new Date('2026-03-18T13:30:00Z')
const outgoing = (id: string, to: string = PATIENT): Outgoing => ({
  id,
  channel: 'voice',
  to,
  text: 'x',
  language: 'en',
  notAfter: NOT_AFTER,
  voice: call('prep'),
})

let now: Date
let platform: TestPlatform
let webhook: Webhook
let gateway: CallbackGateway
/** What the service would keep of messages under way. */
let scripts: Map<string, CallScript>
let answered: KeyPress[]
let receipts: Receipt[]
let follows: Step | null

beforeEach(async () => {
  now = new Date()
  ;[scripts, answered, receipts, follows] = [new Map(), [], [], null]
  platform = new TestPlatform()
  const port = await platform.listen()
  webhook = await Webhook.for(() => gateway)
  platform.hooks = webhook.url
  gateway = createVoiceHttpGateway(platformConfig(port), {
    clock: { now: () => now },
    secret: () => 'shared',
    callbackUrl: webhook.url,
  })
  await gateway.start({
    receipt: async (receipt) => void receipts.push(receipt),
    message: async () => {},
    script: async (id) => scripts.get(id) ?? null,
    keyPressed: async (one) => (answered.push(one), follows),
  })
})
afterEach(async () => {
  await gateway.stop()
  await webhook.close()
  await platform.close()
})

/** Orders a call and hands back the addresses that the platform was given. */
async function ordered(id: string, to: string = PATIENT): Promise<Order> {
  scripts.set(id, call('prep'))
  const message = { ...outgoing(id, to), notAfter: new Date(now.getTime() + 3_600_000) }
  expect((await gateway.send(message)).kind).toBe('accepted')
  return platform.orders.find((order) => order.id === id)!
}

function callback(
  address: string,
  changes: Record<string, string> = {},
  pressed?: string,
): Promise<{ status: number; body: string; contentType?: string }> {
  const query = { ...Object.fromEntries(new URL(address).searchParams), ...changes }
  const sent: Callback = {
    path: 'call',
    method: pressed === undefined ? 'GET' : 'POST',
    url: `${new URL(address).pathname}?${new URLSearchParams(query)}`,
    query,
    headers: {},
    body: Buffer.from(pressed === undefined ? '' : `pressed=${pressed}`),
  }
  return gateway.callback(sent)
}

describe('a call by a voice platform', () => {
  it('is fetched as VoiceXML and followed to the answer, which is heard before the patient is thanked', async () => {
    await ordered('m-1')
    await vi.waitFor(() => expect(receipts).toHaveLength(1), SOON)
    expect(answered).toMatchObject([
      { gateway: 'platform', messageId: 'm-1', key: 'm-1/confirm', pressed: { meaning: 'confirm' } },
    ])
    const script = call('prep')
    expect(platform.said).toEqual([
      ...script.steps.greeting.say,
      ...script.steps.message.say,
      'Thank you. We have noted your answer. Goodbye.',
    ])
    expect(receipts[0]).toMatchObject({ gateway: 'platform', messageId: 'm-1', state: 'delivered', code: 'answered' })
  })

  // The platform says `completed` of each, which its description takes for delivered.
  it.each([
    ['key 1 in the message', ['1', '1'], 'delivered answered'],
    ['the message to its end, and no key', ['1', ''], 'delivered heard'],
    ['its end, then another key', ['1', '', '3'], 'delivered heard'],
    ['its end, said again, and nothing more', ['1', '', '', '', ''], 'delivered heard'],
    ['another key before its end', ['1', '3'], 'undelivered cut-short'],
    ['no more calls, before the message', ['9'], 'undelivered cut-short'],
    ['a wrong number', ['7'], 'undelivered wrong-person'],
    ['hanging up in the greeting', [], 'undelivered hung-up'],
    ['hanging up in the message', ['1'], 'undelivered hung-up'],
    ['no key at all', ['', ''], 'undelivered no-key'],
  ])('is told when it tells so itself: %s', async (_, keys, first) => {
    platform.keys = keys
    await ordered('m-1')
    await vi.waitFor(() => expect(receipts.at(-1)).toMatchObject({ ref: 'call-1', code: 'not-told' }), SOON)
    expect(`${receipts[0]!.state} ${receipts[0]!.code}`).toBe(first)
    expect(receipts[0]!.messageId).toBe('m-1')
  })

  it('that reached a machine, or that asked for nothing to say, told nobody', async () => {
    platform.machine = true
    await ordered('m-1')
    await vi.waitFor(() => expect(receipts).toHaveLength(2), SOON)
    expect(receipts.map(({ state, code }) => [state, code])).toEqual([
      ['undelivered', 'voicemail'],
      ['undelivered', 'not-told'],
    ])
    platform.fetches = false
    receipts = []
    await ordered('m-2')
    await vi.waitFor(() => expect(receipts).toMatchObject([{ state: 'undelivered', code: 'not-told' }]), SOON)
  })

  it('goes on with times on offer, and hears which the patient takes', async () => {
    platform.keys = ['1', '3', '2']
    follows = writer.answer({ kind: 'offer', language: 'en', detail: 'full', values: VALUES }).step
    await ordered('m-2')
    expect(answered.map(({ key }) => key)).toEqual(['m-2/cannot-come', 'm-2/choice.2'])
    expect(platform.said.join(' ')).toContain('For Friday, March 27, at 3:20 in the afternoon, press 2.')
  })

  it('says what the platform calls a busy line in our own word, which the rule for calling again knows', async () => {
    await ordered('m-3', FATES.undelivered)
    await vi.waitFor(() => expect(receipts).toMatchObject([{ state: 'undelivered', code: 'busy' }]), SOON)
  })

  it('leaves a machine only who called and the number', async () => {
    const { voicemail } = await ordered('m-4')
    const { status, body, contentType } = await callback(voicemail)
    expect([status, contentType]).toEqual([200, 'application/voicexml+xml'])
    expect([...body.matchAll(/<p>(.*?)<\/p>/g)].map(([, words]) => words)).toEqual([call('prep').voicemail])
  })

  it('is shown to nobody whose address we did not sign, nor after its time', async () => {
    const { script, voicemail } = await ordered('m-5')
    expect((await callback(script)).status).toBe(200)
    scripts.set('m-6', call('prep'))
    for (const changes of [
      { id: 'm-6' },
      { for: 'answer' },
      { until: '9999999999' },
      { sign: '' },
      { sign: 'f'.repeat(64) },
      { for: 'everything' },
    ]) {
      expect((await callback(script, changes)).status, JSON.stringify(changes)).toBe(401)
    }
    expect((await callback(voicemail, { for: 'script' })).status).toBe(401)
    now = new Date(now.getTime() + 3_600_000 + 601_000)
    expect((await callback(script)).status).toBe(401)
  })

  it('is no longer said once it was withdrawn, but an answer given meanwhile counts', async () => {
    const { script } = await ordered('m-7')
    const answer = /<submit next="([^"]+)"/.exec((await callback(script)).body)![1]!.replace(/&#38;/g, '&')
    scripts.delete('m-7')
    answered = []
    expect((await callback(script)).status).toBe(404)
    expect((await callback(answer, {}, 'stop')).status).toBe(204)
    expect(answered).toMatchObject([{ messageId: 'm-7', pressed: { meaning: 'stop' } }])
  })

  it('takes nothing for an answer that no key says, and nothing that is only fetched', async () => {
    const { script } = await ordered('m-8')
    const answer = /<submit next="([^"]+)"/.exec((await callback(script)).body)![1]!.replace(/&#38;/g, '&')
    answered = []
    for (const words of ['', 'rejoin', 'choice.9', 'constructor'])
      expect((await callback(answer, {}, words)).status, words).toBe(400)
    expect((await callback(answer)).status).toBe(400)
    expect(answered).toEqual([])
  })

  it('is not ordered without a script', async () => {
    const silent = outgoing('m-9')
    delete silent.voice
    expect(await gateway.send(silent)).toEqual({ kind: 'rejected', code: 'no-script' })
  })
})

describe('the description of a voice platform', () => {
  const deps = {
    clock: { now: () => now },
    random: () => 0.5,
    after: () => {},
    secret: () => 'shared',
    callbackUrl: 'https://clinic.example/gateways',
    memory: scratchMemory(),
  }

  it('is refused with replies, without a secret, without the address of the service', () => {
    expect(() => createVoiceHttpGateway({ ...platformConfig(1), replies: {} }, deps)).toThrow('leave out replies')
    expect(() => createVoiceHttpGateway(platformConfig(1), { ...deps, secret: () => undefined })).toThrow('SIGNING')
    const nowhere: Partial<typeof deps> & Omit<typeof deps, 'callbackUrl'> = { ...deps }
    delete nowhere.callbackUrl
    expect(() => createVoiceHttpGateway(platformConfig(1), nowhere)).toThrow('public address')
    expect(() => createVoiceHttpGateway({ ...platformConfig(1), codes: { x: 'bad-number' } }, deps)).toThrow('codes')
  })

  it('can be one of several, whose addresses say which', () => {
    const second = { ...platformConfig(2), name: 'second' }
    const whole = createGateway({ kind: 'failover', name: 'calls', through: [platformConfig(1), second] }, deps)
    expect(takesCallbacks(whole)).toBe(true)
    expect(whole.channels).toEqual(['voice'])
  })

  it('is the only one that may speak of a script', () => {
    const plain = { ...platformConfig(1) } as Record<string, unknown>
    delete plain.signing
    delete plain.codes
    expect(() => createGateway({ ...plain, kind: 'http' }, deps)).toThrow('Only a gateway of kind voice-http')
  })
})
