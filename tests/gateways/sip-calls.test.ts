import { mkdtemp, readdir, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { createSipGateway, type SipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import type { CallScript } from '../../src/domain/messages/voice/call-script.ts'
import type { KeyPress, Outgoing, Receipt, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { call, VALUES, writer } from '../messages/voice/example-calls.ts'
import { engineOf } from './peers/engine.ts'
import { likeness, Listener } from './peers/listener.ts'
import {
  HANG_UP,
  INVITE,
  note,
  pause,
  Phone,
  PICK_UP,
  press,
  refuse,
  RING,
  sippPresent,
  TILL_BYE,
  TILL_CANCEL,
} from './peers/sipp.ts'
import { tsharkPresent } from './peers/tap.ts'

const PATIENT = '+16135550142'
const short: CallScript = {
  ...call('prep'),
  steps: { ...call('prep').steps, greeting: { say: ['Harbour Clinic. Press 1.'], keys: { '1': { go: 'message' } } } },
  voicemail: 'Please call Harbour Clinic.',
}

/** Says what it has to say in three seconds, and then the keys of preparation. */
const brief: CallScript = {
  ...short,
  steps: {
    ...short.steps,
    message: { ...short.steps.message, say: ['Your visit is on Friday.', call('prep').steps.message.say.at(-1)!] },
  },
}

/** How each phone behaves. The recorded keys are those that come with SIPp. */
const PHONES: Record<string, { steps: () => string[]; script?: CallScript; ringSeconds?: number }> = {
  startedToday: {
    steps: () => [
      INVITE,
      RING,
      pause(200),
      PICK_UP,
      pause(18_000), // the greeting is said to its end: whichever piece of it is looked for has been said
      press('1'),
      pause(1500),
      press('2'),
      pause(1500),
      press('1'),
      TILL_BYE,
    ],
  },
  takesOffer: {
    steps: () => [
      INVITE,
      RING,
      PICK_UP,
      pause(300),
      press('1'),
      pause(1200),
      press('1'),
      pause(1200),
      press('3'),
      pause(2500),
      press('2'),
      TILL_BYE,
    ],
  },
  // The message is said, its keys are not: who presses one now has heard it.
  startedInMenu: {
    steps: () => [
      INVITE,
      RING,
      PICK_UP,
      pause(300),
      press('1'),
      pause(1200),
      press('1'),
      pause(6000),
      press('2'),
      pause(1500),
      press('1'),
      TILL_BYE,
    ],
    script: brief,
  },
  noAnswer: { steps: () => [INVITE, RING, TILL_CANCEL], ringSeconds: 3 },
  hangsUp: { steps: () => [INVITE, RING, PICK_UP, pause(5000), HANG_UP] },
  forbidden: { steps: () => [INVITE, refuse('403 Forbidden')] },
  pressesNothing: { steps: () => [INVITE, RING, PICK_UP, TILL_BYE], script: short },
  pressesOther: {
    steps: () => [
      INVITE,
      RING,
      PICK_UP,
      pause(300),
      press('1'),
      pause(1500),
      press('5'),
      pause(2500),
      press('1'),
      pause(1500),
      press('1'),
      TILL_BYE,
    ],
  },
}

interface Story {
  outcome: SendOutcome
  answered: KeyPress[]
  receipts: Receipt[]
  /** SIPp's exit code: 0 when every message came as its scenario expects. */
  exit: number | null
  /** Where its sound went. */
  mediaPort: number
}

function gatewayTo(port: number, line: number, ringSeconds = 30): SipGateway {
  const described = {
    kind: 'sip',
    name: 'calls',
    trunk: { host: '127.0.0.1', port },
    user: 'clinic',
    localAddress: '127.0.0.1',
    allow: ['+1613'],
    rtpPorts: { from: 32_000 + line * 4, to: 32_003 + line * 4 },
    lines: 1,
    ringSeconds,
  }
  return createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
}

const outgoing = (id: string, voice: CallScript, to = PATIENT): Outgoing => ({
  id,
  channel: 'voice',
  to,
  text: 'x',
  language: 'en',
  notAfter: new Date(Date.now() + 3_600_000),
  voice,
})

describe.skipIf(!sippPresent() || !tsharkPresent())('a call through a trunk, to SIPp', () => {
  let calls: string
  let listener: Listener
  let usual: string | undefined
  const stories: Record<string, Story> = {}

  beforeAll(async () => {
    calls = await mkdtemp(join(tmpdir(), 'daysix-calls-'))
    usual = process.env.TMPDIR
    const names = Object.keys(PHONES)
    listener = await Listener.start(names.map((_, n) => 31_000 + n * 10))
    const phones = await Promise.all(names.map((name, n) => Phone.start(PHONES[name]!.steps(), 31_000 + n * 10, 1)))
    process.env.TMPDIR = calls
    const told = await Promise.all(names.map((name, n) => tell(name, phones[n]!, n)))
    await listener.stop()
    for (const [n, name] of names.entries()) {
      stories[name] = told[n]!
      await phones[n]!.close()
    }
  })

  afterAll(async () => {
    process.env.TMPDIR = usual ?? ''
    if (usual === undefined) delete process.env.TMPDIR
    await listener.close()
    await rm(calls, { recursive: true })
  })

  async function tell(name: string, phone: Phone, line: number): Promise<Story> {
    const gateway = gatewayTo(phone.port, line, PHONES[name]!.ringSeconds)
    const story = { answered: [] as KeyPress[], receipts: [] as Receipt[] }
    await gateway.start({
      receipt: async (receipt) => void story.receipts.push(receipt),
      message: async () => {},
      keyPressed: async (answered) => {
        story.answered.push(answered)
        const offers = answered.pressed.meaning === 'cannot-come'
        return offers ? writer.answer({ kind: 'offer', language: 'en', detail: 'full', values: VALUES }).step : null
      },
    })
    const outcome = await gateway.send(outgoing(`m-${name}`, PHONES[name]!.script ?? call('prep')))
    await gateway.stop()
    const exit = await phone.ended()
    return { ...story, outcome, exit, mediaPort: phone.mediaPort }
  }

  /** How surely these words were said to a phone. */
  async function said(name: string, words: string[]): Promise<number> {
    const spoken = await Promise.all(words.map((each) => espeak().speak(each, { language: 'en', locale: 'en-CA' })))
    const heard = await listener.soundTo(stories[name]!.mediaPort)
    return Math.min(...spoken.map((speech) => likeness(heard, speech)))
  }

  const codes = (name: string) => stories[name]!.receipts.map(({ messageId, state, code }) => [messageId, state, code])
  const keys = (name: string) => stories[name]!.answered.map(({ key }) => key)

  it('that is answered says its greeting, and hears 1, then 2, then 1 as a period that started today', async () => {
    const { outcome, exit, mediaPort } = stories.startedToday!
    const streams = listener.streamsTo(mediaPort)
    expect(outcome).toEqual({ kind: 'accepted' })
    expect(exit).toBe(0)
    expect(keys('startedToday')).toEqual(['m-startedToday/period-started.0'])
    expect(codes('startedToday')).toEqual([['m-startedToday', 'undelivered', 'cut-short']])
    // Sound flowed: 50 packets a second (20 ms of G.711 each, RFC 3551 §4.5.14) for some twenty seconds, none lost.
    expect(streams).toHaveLength(1)
    expect(streams[0]!.packets).toBeGreaterThan(400)
    expect(streams[0]!.lost).toBe(0)
    expect(await said('startedToday', call('prep').steps.greeting.say)).toBeGreaterThan(0.9)
    expect(await said('startedToday', ['Thank you. We have noted your answer. Goodbye.'])).toBeGreaterThan(0.9)
  })

  it('was told its message when the first key comes while the keys are being said', () => {
    expect(stories.startedInMenu!.exit).toBe(0)
    expect(keys('startedInMenu')).toEqual(['m-startedInMenu/period-started.0'])
    expect(codes('startedInMenu')).toEqual([['m-startedInMenu', 'delivered', 'heard']])
  })

  it('goes on with times on offer when the patient cannot come, and hears which the patient takes', () => {
    expect(stories.takesOffer!.exit).toBe(0)
    expect(keys('takesOffer')).toEqual(['m-takesOffer/cannot-come', 'm-takesOffer/choice.2'])
    expect(codes('takesOffer')).toEqual([['m-takesOffer', 'undelivered', 'cut-short']])
  })

  it('that nobody answers is taken back in time, and was not delivered', () => {
    expect(stories.noAnswer).toMatchObject({
      outcome: { kind: 'later', code: 'no-answer' },
      receipts: [],
      answered: [],
      exit: 0,
    })
  })

  it('that the patient hangs up midway was not delivered', () => {
    expect(stories.hangsUp).toMatchObject({ outcome: { kind: 'accepted' }, answered: [], exit: 0 })
    expect(codes('hangsUp')).toEqual([['m-hangsUp', 'undelivered', 'hung-up']])
  })

  it('in which nobody presses a key says twice who calls, then the number to call, and was not delivered', async () => {
    expect(stories.pressesNothing).toMatchObject({ outcome: { kind: 'accepted' }, answered: [], exit: 0 })
    expect(codes('pressesNothing')).toEqual([['m-pressesNothing', 'undelivered', 'no-key']])
    expect(await said('pressesNothing', [short.voicemail])).toBeGreaterThan(0.9)
  })

  it('says when a key is not in use, and goes on', async () => {
    expect(keys('pressesOther')).toEqual(['m-pressesOther/confirm'])
    expect(await said('pressesOther', ['That key is not in use here.'])).toBeGreaterThan(0.9)
  })

  it('that the trunk forbids is for an operator to mend', () => {
    expect(stories.forbidden).toMatchObject({
      outcome: { kind: 'misconfigured', code: 'sip-403' },
      receipts: [],
      exit: 0,
    })
  })

  it('leaves neither sound nor settings behind', async () => {
    expect(await readdir(calls)).toEqual([])
  })

  it('is not placed to numbers that may not be called, without a script, or in a language without a voice', async () => {
    const gateway = gatewayTo(9, 20)
    await gateway.start({ receipt: async () => {}, message: async () => {} })
    expect(await gateway.send(outgoing('m-1', short, '+19005550142'))).toEqual({
      kind: 'rejected',
      code: 'not-allowed',
    })
    expect(await gateway.send(outgoing('m-2', { ...short, language: 'so' }))).toEqual({
      kind: 'rejected',
      code: 'no-voice',
    })
    expect(await gateway.send(withoutScript(outgoing('m-3', short)))).toEqual({ kind: 'rejected', code: 'no-script' })
    await gateway.stop()
  })

  it('to a trunk that does not answer at all is given up for now', async () => {
    const gateway = gatewayTo(9, 21)
    await gateway.start({ receipt: async () => {}, message: async () => {} })
    expect(await gateway.send(outgoing('m-1', short))).toEqual({ kind: 'later', code: 'trunk-silent' })
    await gateway.stop()
  })

  it('whose engine dies has a fate nobody knows', async () => {
    const phone = await Phone.start([INVITE, RING, note('rings'), pause(60_000)], 31_200, 1)
    const gateway = gatewayTo(phone.port, 22)
    await gateway.start({ receipt: async () => {}, message: async () => {} })
    const sending = gateway.send(outgoing('m-1', short))
    await vi.waitFor(async () => expect(await phone.notes()).toEqual(['rings']), SOON)
    process.kill(engineOf(process.pid), 'SIGKILL')
    expect(await sending).toEqual({ kind: 'unknown', code: 'engine-gone' })
    await gateway.stop()
    await phone.close()
  })
})

function withoutScript(message: Outgoing): Outgoing {
  const silent = { ...message }
  delete silent.voice
  return silent
}
