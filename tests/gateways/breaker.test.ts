import { describe, expect, it } from 'vitest'
import { createPocketGateway, type PocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { withBreaker } from '../../src/adapters/gateways/with-breaker.ts'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import { recordingEars } from './recording-ears.ts'
import { VirtualTime } from './virtual-time.ts'

const NUMBER = '+16135550142'
let n = 0

function outgoing() {
  return {
    id: `m${++n}`,
    channel: 'sms' as const,
    to: NUMBER,
    text: 'Hello',
    language: 'en',
    notAfter: new Date('2027-01-01T00:00:00Z'),
  }
}

async function guarded() {
  const time = new VirtualTime('2026-03-17T12:00:00Z')
  const pocket = createPocketGateway({ clock: time, random: () => 0.5, after: time.after })
  const gateway = withBreaker(pocket, { clock: time, failures: 3, openMs: 10_000, maxOpenMs: 60_000 })
  await gateway.start(recordingEars())
  return { time, pocket, gateway }
}

async function codes(gateway: Gateway, times: number): Promise<string[]> {
  const list: string[] = []
  for (let i = 0; i < times; i++) {
    const outcome = await gateway.send(outgoing())
    list.push('code' in outcome ? outcome.code : outcome.kind)
  }
  return list
}

function down(pocket: PocketGateway) {
  pocket.behave(NUMBER, { answer: 'later' })
}

describe('the breaker of a gateway', () => {
  it('opens after some failures in a row and then answers at once', async () => {
    const { pocket, gateway } = await guarded()
    down(pocket)
    expect(await codes(gateway, 5)).toEqual([
      'pocket-later',
      'pocket-later',
      'pocket-later',
      'breaker-open',
      'breaker-open',
    ])
    expect(await gateway.send(outgoing())).toEqual({ kind: 'later', code: 'breaker-open', retryAfterMs: 10_000 })
    expect(gateway.health!()).toEqual({ ok: false, code: 'pocket-later', since: new Date('2026-03-17T12:00:00Z') })
  })

  it('stays closed while answers come in between, even rejections', async () => {
    const { pocket, gateway } = await guarded()
    for (const answer of ['later', 'unknown', 'rejected', 'later', 'unknown', 'throttled', 'later', 'later'] as const) {
      pocket.behave(NUMBER, { answer })
      expect((await gateway.send(outgoing())).kind).toBe(answer)
    }
    expect(gateway.health!()).toEqual({ ok: true })
  })

  it('opens at once when the gateway is misconfigured', async () => {
    const { pocket, gateway } = await guarded()
    pocket.behave(NUMBER, { answer: 'misconfigured' })
    expect(await codes(gateway, 2)).toEqual(['pocket-misconfigured', 'breaker-open'])
  })

  it('closes when a probe gets through', async () => {
    const { time, pocket, gateway } = await guarded()
    down(pocket)
    await codes(gateway, 3)
    pocket.behave(NUMBER)
    await time.advance(10_000)
    expect(await codes(gateway, 3)).toEqual(['accepted', 'accepted', 'accepted'])
    expect(gateway.health!()).toEqual({ ok: true })
  })

  it('stays open twice as long after each probe that fails, up to a limit, and remembers since when', async () => {
    const { time, pocket, gateway } = await guarded()
    down(pocket)
    await codes(gateway, 3)
    for (const wait of [10_000, 20_000, 40_000, 60_000, 60_000]) {
      await time.advance(wait - 1)
      expect(await codes(gateway, 1)).toEqual(['breaker-open'])
      await time.advance(1)
      expect(await codes(gateway, 2)).toEqual(['pocket-later', 'breaker-open'])
    }
    expect(gateway.health!()).toMatchObject({ since: new Date('2026-03-17T12:00:00Z') })
  })

  it('lets no more than one message probe at a time', async () => {
    const { time, pocket, gateway } = await guarded()
    down(pocket)
    await codes(gateway, 3)
    pocket.behave(NUMBER, { answerAfterMs: 5_000 })
    await time.advance(10_000)
    const probe = gateway.send(outgoing())
    expect(await codes(gateway, 2)).toEqual(['breaker-open', 'breaker-open'])
    await time.advance(5_000)
    expect((await probe).kind).toBe('accepted')
    expect(pocket.ledger()).toHaveLength(1)
  })

  it('is not opened further by messages that were under way when it opened', async () => {
    const { time, pocket, gateway } = await guarded()
    pocket.behave(NUMBER, { answer: 'later', answerAfterMs: 1_000 })
    const sending = Array.from({ length: 8 }, () => gateway.send(outgoing()))
    await time.advance(1_000)
    await Promise.all(sending)
    pocket.behave(NUMBER)
    await time.advance(10_000)
    expect(await codes(gateway, 1)).toEqual(['accepted'])
  })

  it('hides nothing that the gateway can do', async () => {
    const { pocket, gateway } = await guarded()
    await gateway.send(outgoing())
    expect(await gateway.lookUp!(`m${n}`)).toMatchObject({ kind: 'accepted' })
    expect([gateway.name, gateway.channels, gateway.onUnknown]).toEqual([
      pocket.name,
      pocket.channels,
      pocket.onUnknown,
    ])
    expect('callback' in gateway).toBe(false)
    await gateway.stop()
    expect((await pocket.send(outgoing())).kind).toBe('later')
  })
})
