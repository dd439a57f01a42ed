import net from 'node:net'
import { afterEach, describe, expect, it } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import { Turns, type HeldTurn } from '../../src/adapters/gateways/turns.ts'
import { createMetrics } from '../../src/adapters/metrics/metrics.ts'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import type { Store } from '../../src/flows/ports/deps.ts'
import { call } from '../messages/voice/example-calls.ts'
import { message } from './contract.ts'
import { FATES } from './fates.ts'
import { providerConfig, TestProvider } from './peers/test-provider.ts'
import { TestSmsc } from './peers/test-smsc.ts'
import { recordingEars } from './recording-ears.ts'

const never = () => new AbortController().signal
const ending: (() => Promise<unknown> | void)[] = []

afterEach(async () => {
  for (const end of ending.splice(0).reverse()) await end()
})

/** Whether it is there once everything that is ready has been done. */
async function isThere(promise: Promise<unknown>): Promise<boolean> {
  let there = false
  void promise.then(() => (there = true))
  await new Promise((resume) => setImmediate(resume))
  return there
}

describe('turns', () => {
  it('are as many as there are places, in the order in which they were asked for', async () => {
    const turns = new Turns(2)
    const [first, , third, fourth] = [turns.take(), turns.take(), turns.take(), turns.take()]
    expect(await isThere(third)).toBe(false)
    const one = await first
    one.release()
    one.release() // once more does not make another place
    expect([await isThere(third), await isThere(fourth)]).toEqual([true, false])
  })

  it('are had at once while places are free and nobody waits', async () => {
    const turns = new Turns(1)
    const held = turns.atOnce()!
    expect(turns.atOnce()).toBeUndefined()
    const waiting = turns.take()
    held.release()
    const next = await waiting
    void turns.take(never())
    next.release()
    await isThere(Promise.resolve())
    expect(turns.atOnce()).toBeUndefined()
  })

  it('go to the next one when somebody waits no longer', async () => {
    const turns = new Turns(1)
    const held = await turns.take()
    const impatient = new AbortController()
    const [gone, next] = [turns.take(impatient.signal), turns.take()]
    impatient.abort()
    expect(await gone).toBeUndefined()
    expect(await turns.take(AbortSignal.abort())).toBeUndefined()
    held.release()
    expect(await isThere(next)).toBe(true)
  })

  it('are given, and used, no faster than the rate allows', async () => {
    const turns = new Turns(100, 100)
    const began = performance.now()
    const held = await Promise.all(Array.from({ length: 21 }, () => turns.take()))
    const given = performance.now() - began
    // Used all at once, as after a database that was slow for a while.
    expect(await Promise.all(held.map((turn) => turn.mayWrite()))).toEqual(Array(21).fill(true))
    expect(given).toBeGreaterThanOrEqual(175)
    expect(performance.now() - began).toBeGreaterThanOrEqual(375)
  })

  it('that would be used too late after they were given are not used', async () => {
    const turns = new Turns(100, 100)
    const held = await Promise.all(Array.from({ length: 9 }, () => turns.take()))
    const used = await Promise.all(held.map((turn) => turn.mayWrite(45)))
    expect(used).toEqual([...Array<boolean>(5).fill(true), ...Array<boolean>(4).fill(false)])
  })

  it('that were not used leave the rate to others', async () => {
    const turns = new Turns(5, 0.01)
    ;(await turns.take()).release()
    const turn = await turns.take()
    expect(await turn.mayWrite()).toBe(true)
    turn.release()
    expect(await isThere(turns.take())).toBe(false) // that one was
  })

  it('serve none but those who gave them', async () => {
    const [turns, others] = [new Turns(1), new Turns(1)]
    const [own, foreign] = [await turns.take(), await others.take()]
    const taken = (await turns.thisOrSoon(own)) as HeldTurn
    own.release() // it is no longer theirs
    expect(await isThere(turns.take(never()))).toBe(false)
    taken.release()
    expect(await isThere(others.take())).toBe(false)
    expect(foreign.takenOver(turns)).toBeUndefined()
  })
})

const deps = {
  clock: { now: () => new Date() },
  random: () => 0.5,
  after: () => {},
  secret: () => 'shared',
  callbackUrl: 'http://127.0.0.1/gateways',
  memory: scratchMemory(),
}
const timed = (gateway: Gateway) => createMetrics({} as Store, deps.clock, false).timed(gateway)

async function started(gateway: Gateway): Promise<Gateway> {
  await gateway.start(recordingEars())
  ending.push(() => gateway.stop())
  return gateway
}

async function provider(): Promise<number> {
  const made = new TestProvider()
  ending.push(() => made.close())
  return made.listen()
}

/** One gateway of each kind, with a single place on the wire. */
const WITH_ONE_PLACE: Record<string, () => Promise<Gateway>> = {
  http: async () => createGateway({ ...providerConfig(await provider()), maxConnections: 1 }, deps),
  'voice-http': async () => {
    const called = { kind: 'voice-http', signing: 'env:SIGNING', replies: undefined }
    return createGateway({ ...providerConfig(await provider()), ...called, maxConnections: 1 }, deps)
  },
  smpp: async () => {
    const smsc = new TestSmsc()
    const port = await smsc.listen()
    ending.push(() => smsc.close())
    const peer = { host: '127.0.0.1', port, systemId: 'daysix', password: 'env:SMSC' }
    return createGateway({ kind: 'smpp', name: 'centre', ...peer, window: 1 }, deps)
  },
  failover: async () => {
    const [one, two] = [await provider(), await provider()]
    const members = [
      { ...providerConfig(one), name: 'one', maxConnections: 1 },
      { ...providerConfig(two), name: 'two' },
    ]
    return createGateway({ kind: 'failover', name: 'texts', through: members }, deps)
  },
}

describe.each(Object.keys(WITH_ONE_PLACE))('a gateway of kind %s with one place on the wire', (kind) => {
  const spoken = { channel: 'voice' as const, voice: call('day-before') }
  const outgoing = () => ({ ...message(FATES.accept), ...(kind === 'voice-http' && spoken) })

  it('has a turn for one message, which goes with it; another comes back soon', async () => {
    const gateway = timed(await started(await WITH_ONE_PLACE[kind]!()))
    const { channel } = outgoing()
    const turn = await gateway.turn!(channel, never())
    expect(await isThere(gateway.turn!(channel, never()))).toBe(false)
    expect(await gateway.send(outgoing())).toEqual({ kind: 'throttled', code: 'no-turn', retryAfterMs: 2_000 })
    expect((await gateway.send(outgoing(), turn)).kind).toBe('accepted')
  })

  it('has a turn at once, until it is taken', async () => {
    const gateway = timed(await started(await WITH_ONE_PLACE[kind]!()))
    const { channel } = outgoing()
    const turn = gateway.turnAtOnce!(channel)
    expect(turn).toBeDefined()
    expect(gateway.turnAtOnce!(channel)).toBeUndefined()
    expect((await gateway.send(outgoing(), turn)).kind).toBe('accepted')
    expect(gateway.turnAtOnce!(channel)).toBeDefined()
  })

  it('ends the waiting when it is told to', async () => {
    const gateway = timed(await started(await WITH_ONE_PLACE[kind]!()))
    const { channel } = outgoing()
    const stop = new AbortController()
    const turn = await gateway.turn!(channel, stop.signal)
    const waiting = gateway.turn!(channel, stop.signal)
    stop.abort()
    expect(await waiting).toBeUndefined()
    turn!.release()
    expect((await gateway.send(outgoing())).kind).toBe('accepted')
  })
})

describe('a gateway with another to fall back on', () => {
  it('has turns with the first that goes', async () => {
    const nobody = net.createServer().listen(0, '127.0.0.1')
    await new Promise((listening) => nobody.once('listening', listening))
    const { port } = nobody.address() as net.AddressInfo
    await new Promise((closed) => nobody.close(closed))
    const members = [
      { ...providerConfig(port), name: 'one', maxConnections: 50 },
      { ...providerConfig(await provider()), name: 'two', maxConnections: 7 },
    ]
    const gateway = await started(createGateway({ kind: 'failover', name: 'texts', through: members }, deps))
    const places = async () => {
      const stops = Array.from({ length: 60 }, () => new AbortController())
      const asked = stops.map(({ signal }) => gateway.turn!('sms', signal))
      const given = (await Promise.all(asked.map(isThere))).filter(Boolean).length
      for (const stop of stops) stop.abort()
      for (const turn of await Promise.all(asked)) turn?.release()
      return given
    }
    expect(await places()).toBe(50)
    // After so many failures the breaker of the first opens.
    for (let n = 0; n < 5; n++) expect((await gateway.send(message(FATES.accept))).kind).toBe('accepted')
    expect(await places()).toBe(7)
    const turn = await gateway.turn!('sms', never())
    const outcome = await gateway.send(message(FATES.accept), turn)
    expect(outcome).toMatchObject({ kind: 'accepted', ref: expect.stringMatching(/^two\//) })
    expect(await gateway.turn!('voice', never())).toBeUndefined()
  })
})
