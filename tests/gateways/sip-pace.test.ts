import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { createSipGateway, type SipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import type { Speech } from '../../src/adapters/gateways/speech/speech.ts'
import type { CallScript } from '../../src/domain/messages/voice/call-script.ts'
import { call } from '../messages/voice/example-calls.ts'
import { INVITE, note, pause, Phone, refuse, RING, sippPresent } from './peers/sipp.ts'

const LINES = 32
/** On two cores that have nothing else to do, where one message is rendered in an eighth of a second. */
const MOST_MS = 10_000
/** On a busy machine everything takes longer, the rendering of one message too. */
const MOST_RENDERINGS = 80

const engine = espeak()
const rendered: string[] = []
const counting: Speech = { ...engine, speak: (words, voice) => (rendered.push(words), engine.speak(words, voice)) }

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
    gateway = createSipGateway(described, {
      ...{ clock: { now: () => new Date() }, secret: () => undefined },
      speech: counting,
    })
    await gateway.start({ receipt: async () => {}, message: async () => {} })
  })

  afterAll(async () => {
    await gateway.stop()
    await phone.close()
  })

  it(`all ring within ${MOST_MS / 1000} s, with no words rendered twice`, async () => {
    const notAfter = new Date(Date.now() + 3_600_000)
    const alone = await took(() => engine.speak(scriptAt(99).steps.message.say[0]!, scriptAt(99)))
    const began = performance.now()
    const sent = Array.from({ length: LINES }, (_, n) => {
      const about = { id: `m-${n}`, channel: 'voice', text: 'x', language: 'en', notAfter } as const
      return gateway.send({ ...about, to: `+161355501${String(n).padStart(2, '0')}`, voice: scriptAt(n) })
    })
    await vi.waitFor(async () => expect((await phone.notes()).length).toBe(LINES), { timeout: 60_000, interval: 50 })
    const ms = performance.now() - began
    console.info(`${LINES} calls rang after ${(ms / 1000).toFixed(1)} s`)
    expect(ms).toBeLessThan(Math.max(MOST_MS, MOST_RENDERINGS * alone))
    expect(rendered.toSorted()).toEqual([...new Set(rendered)].toSorted())
    expect(rendered.length).toBeGreaterThan(LINES)
    for (const outcome of await Promise.all(sent)) expect(outcome).toEqual({ kind: 'later', code: 'busy' })
  })
})

async function took(work: () => Promise<unknown>): Promise<number> {
  const began = performance.now()
  await work()
  return performance.now() - began
}
