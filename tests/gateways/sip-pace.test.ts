import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { createSipGateway, type SipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import type { CallScript } from '../../src/domain/messages/voice/call-script.ts'
import { call } from '../messages/voice/example-calls.ts'
import { INVITE, note, pause, Phone, refuse, RING, sippPresent } from './peers/sipp.ts'

const LINES = 32
const MOST_MS = 10_000

/** One patient's preparation: greeting, menus and thanks are everybody's, the time of the visit is not. */
function scriptAt(n: number): CallScript {
  const script = call('prep')
  const [words, ...rest] = script.steps.message.say as [string, ...string[]]
  const said = words.replace('.', `. Your visit is on March ${n % 31}, at ${8 + (n % 9)} o’clock.`)
  return { ...script, steps: { ...script.steps, message: { ...script.steps.message, say: [said, ...rest] } } }
}

describe.skipIf(!sippPresent())(`${LINES} calls that are due at once`, () => {
  let phone: Phone
  let gateway: SipGateway

  beforeAll(async () => {
    phone = await Phone.start([INVITE, RING, note('rings'), pause(500), refuse('486 Busy Here')], 33_500)
    const described = {
      ...{ kind: 'sip', name: 'calls', user: 'clinic', localAddress: '127.0.0.1', allow: ['+1613'], lines: LINES },
      trunk: { host: '127.0.0.1', port: phone.port },
      rtpPorts: { from: 33_600, to: 33_600 + LINES * 4 - 1 },
    }
    gateway = createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
    await gateway.start({ receipt: async () => {}, message: async () => {} })
  })

  afterAll(async () => {
    await gateway.stop()
    await phone.close()
  })

  it(`all ring within ${MOST_MS / 1000} s, with nothing said before`, async () => {
    const notAfter = new Date(Date.now() + 3_600_000)
    const began = performance.now()
    const sent = Array.from({ length: LINES }, (_, n) => {
      const about = { id: `m-${n}`, channel: 'voice', text: 'x', language: 'en', notAfter } as const
      return gateway.send({ ...about, to: `+161355501${String(n).padStart(2, '0')}`, voice: scriptAt(n) })
    })
    await vi.waitFor(async () => expect((await phone.notes()).length).toBe(LINES), { timeout: 60_000, interval: 50 })
    const ms = performance.now() - began
    console.info(`${LINES} calls rang after ${(ms / 1000).toFixed(1)} s`)
    expect(ms).toBeLessThan(MOST_MS)
    for (const outcome of await Promise.all(sent)) expect(outcome).toEqual({ kind: 'later', code: 'busy' })
  })
})
