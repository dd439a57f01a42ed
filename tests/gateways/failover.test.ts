import { readFileSync, readdirSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway, takesCallbacks, type GatewayDeps } from '../../src/adapters/gateways/create-gateway.ts'
import { Failover } from '../../src/adapters/gateways/failover.ts'
import { createPocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import type { Failure } from '../../src/domain/failure.ts'
import { message } from './contract.ts'
import { providerConfig, TestProvider } from './peers/test-provider.ts'
import { FATES } from './fates.ts'
import { recordingEars } from './recording-ears.ts'
import { VirtualTime } from './virtual-time.ts'

async function pair(options: { canLookUp?: boolean } = {}) {
  const time = new VirtualTime(new Date().toISOString())
  const make = (name: string) =>
    createPocketGateway({ name, clock: time, random: () => 0.5, after: time.after, ...options })
  const [first, second] = [make('first'), make('second')]
  const both = new Failover('texts', [first, second])
  const ears = recordingEars()
  await both.start(ears)
  return { time, first, second, both, ears }
}

describe('a gateway with another to fall back on', () => {
  it.each(['later', 'misconfigured'] as const)(
    'passes a message on that the first did not accept: %s',
    async (answer) => {
      const { time, first, second, both, ears } = await pair()
      first.behave(FATES.accept, { answer })
      const outgoing = message(FATES.accept)
      expect(await both.send(outgoing)).toEqual({ kind: 'accepted', ref: 'second/second-1' })
      expect([first.ledger().length, second.ledger().length]).toEqual([0, 1])
      await time.advance(10_000)
      expect(ears.receipts).toMatchObject([
        { gateway: 'texts', messageId: outgoing.id, ref: 'second/second-1', state: 'delivered' },
      ])
    },
  )

  it.each(['unknown', 'rejected', 'throttled'] as const)(
    'never passes on what the first has dealt with: %s',
    async (answer) => {
      const { first, second, both } = await pair()
      first.behave(FATES.accept, { answer })
      expect((await both.send(message(FATES.accept))).kind).toBe(answer)
      expect(second.ledger()).toEqual([])
    },
  )

  it('tries again later when none accepts, and is misconfigured only when all are', async () => {
    const { first, second, both } = await pair()
    first.behave(FATES.accept, { answer: 'later' })
    second.behave(FATES.accept, { answer: 'misconfigured' })
    expect((await both.send(message(FATES.accept))).kind).toBe('later')
    first.behave(FATES.accept, { answer: 'misconfigured' })
    expect((await both.send(message(FATES.accept))).kind).toBe('misconfigured')
  })

  it('hears replies from both, each under a key of its own', async () => {
    const { first, second, both, ears } = await pair()
    await first.reply(FATES.accept, 'yes')
    await second.reply(FATES.accept, 'yes')
    expect(ears.heards.map((heard) => heard.gateway)).toEqual([both.name, both.name])
    expect(ears.heards[0]!.key).not.toBe(ears.heards[1]!.key)
  })

  it('says what became of a message if either can, and does not guess when one cannot', async () => {
    const { second, both } = await pair()
    await second.send({ ...message(FATES.accept), id: 'known' })
    expect(await both.lookUp('known')).toEqual({ kind: 'accepted', ref: 'second/second-1' })
    expect(await both.lookUp('never')).toBe('never-seen')
    const { both: silent } = await pair({ canLookUp: false })
    expect(await silent.lookUp('never')).toEqual({ kind: 'unknown', code: 'nobody-can-say' })
  })
})

const DEPS: GatewayDeps = {
  clock: { now: () => new Date() },
  random: Math.random,
  after: () => {},
  secret: () => 'shared',
  callbackUrl: 'https://clinic.example/gateways',
  memory: scratchMemory(),
}

describe('a gateway made from its description', () => {
  const EXAMPLES = new URL('../../infra/gateways/', import.meta.url).pathname
  const examples = readdirSync(EXAMPLES, { recursive: true, encoding: 'utf8' }).filter((file) => file.endsWith('.yaml'))

  it.each(examples)('works as in the example %s', (file) => {
    const { channels } = createGateway(readFileSync(EXAMPLES + file, 'utf8'), DEPS)
    // Those that call, or carry e-mail, are named for it.
    const channel = /^(sip|voice)/.test(file) ? 'voice' : file.startsWith('mail') ? 'email' : 'sms'
    expect(channels).toEqual([channel])
  })

  it('passes callbacks to the part that they are for', async () => {
    const provider = new TestProvider()
    const port = await provider.listen()
    const [one, other] = ['one', 'other'].map((name) => ({ ...providerConfig(port), name }))
    const both = createGateway({ kind: 'failover', name: 'texts', through: [one, other] }, DEPS)
    if (!takesCallbacks(both)) return expect.unreachable()
    const call = (via: string) =>
      both.callback({
        path: 'reply',
        method: 'POST',
        url: `/gateways/texts/reply?via=${via}`,
        query: { via },
        headers: {},
        body: Buffer.from('{}'),
      })
    expect([(await call('one')).status, (await call('other')).status, (await call('third')).status]).toEqual([
      401, 401, 404,
    ])
    await provider.close()
  })

  it('hands out addresses that lead to the part of a failover', async () => {
    const provider = new TestProvider()
    const port = await provider.listen()
    const request = {
      method: 'POST',
      url: `http://127.0.0.1:${port}/`,
      body: { as: 'json', value: { to: '{to}', text: '{receipt_url}', id: 'x' } },
    }
    const one = { ...providerConfig(port), name: 'one', request }
    const both = createGateway({ kind: 'failover', name: 'texts', through: [one, { ...one, name: 'other' }] }, DEPS)
    await both.start(recordingEars())
    const outgoing = message(FATES.noReceipt)
    await both.send(outgoing)
    expect(provider.taken[0]!.text).toBe(`https://clinic.example/gateways/texts/receipt?id=${outgoing.id}&via=one`)
    await both.stop()
    await provider.close()
  })

  it.each([
    ['nothing', '', 'gateway'],
    ['no YAML', '{ kind: [', 'gateway'],
    ['an unknown kind', 'kind: pigeon', 'kind'],
    ['a kind from the language itself', 'kind: constructor', 'kind'],
    ['a failover of one', '{ kind: failover, name: x, through: [{ kind: pocket, name: a }] }', 'through'],
    [
      'a failover of twins',
      '{ kind: failover, name: x, through: [{ kind: pocket, name: a }, { kind: pocket, name: a }] }',
      'through',
    ],
  ])('is refused when it is %s', (_, text, field) => {
    try {
      createGateway(text, DEPS)
      expect.unreachable()
    } catch (error) {
      const { detail } = error as Failure
      expect(detail.field ?? detail.faults![0]!.field).toBe(field)
    }
  })
})
