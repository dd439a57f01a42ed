import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { createSipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import type { CallScript } from '../../src/domain/messages/voice/call-script.ts'
import { call } from '../messages/voice/example-calls.ts'
import { likeness, Listener } from './peers/listener.ts'
import { recording, type Part } from './peers/recordings.ts'
import { INVITE, pause, Phone, PICK_UP, press, RING, sippPresent, sound, TILL_BYE } from './peers/sipp.ts'
import { tsharkPresent } from './peers/tap.ts'

const script: CallScript = {
  ...call('day-before'),
  steps: {
    ...call('day-before').steps,
    greeting: { say: ['Harbour Clinic. Press 1.'], keys: { '1': { go: 'message' } } },
  },
  voicemail: 'Please call Harbour Clinic.',
}
const [GREETING] = script.steps.greeting.say as [string]
const [MESSAGE] = script.steps.message.say as [string]

const LONG_GREETING: Part = {
  words:
    'You have reached the Fenwick family. Nobody can come to the phone right now. Please leave a message after the tone, and we will call you back.',
}
const SHORT_GREETING: Part = { words: 'You have reached the Fenwick family. Please speak after the tone.' }
/** Levels by sox's own `gain`: decibels below full scale. */
const beep = (hz: number, seconds: number): Part => ({ synth: [String(seconds), 'sine', String(hz), 'gain', '-15'] })
const hiss = (seconds: number): Part => ({ synth: [String(seconds), 'whitenoise', 'gain', '-28'] })
const quiet = (seconds: number): Part => ({ seconds })

/** Who answers: what is heard of them, and which keys they press how long after they begin to be heard. */
const ANSWERS: Record<string, { heard: Part[]; keys?: [ms: number, key: string][]; machine?: 'hang-up' }> = {
  machine: { heard: [LONG_GREETING, quiet(0.7), beep(1000, 0.4), quiet(8)] },
  shortMachine: { heard: [SHORT_GREETING, quiet(0.3), beep(440, 0.25), quiet(8)] },
  beepsTwice: { heard: [SHORT_GREETING, quiet(0.3), beep(1400, 0.3), quiet(0.9), beep(1400, 0.3), quiet(8)] },
  toHangUpOn: { heard: [LONG_GREETING, quiet(0.7), beep(850, 0.3), quiet(8)], machine: 'hang-up' },
  talksAtLength: {
    heard: [{ words: 'Hello, good morning, this is the Fenwick residence, I am sorry it took me so long' }, quiet(10)],
    keys: [
      [12_000, '1'],
      [1_000, '1'],
    ],
  },
  inNoise: {
    heard: [hiss(25)],
    keys: [
      [6_500, '1'],
      [1_000, '1'],
    ],
  },
  afterTone: {
    heard: [SHORT_GREETING, beep(1900, 0.3), quiet(12)],
    keys: [
      [6_500, '7'],
      [4_000, '1'],
      [1_000, '1'],
    ],
  },
}

interface Story {
  ended: string
  keys: string[]
  exit: number | null
}

describe.skipIf(!sippPresent() || !tsharkPresent())('whoever answers a call', () => {
  let folder: string
  let listener: Listener
  const stories: Record<string, Story> = {}
  const names = Object.keys(ANSWERS)
  const portOf = (name: string) => 25_000 + names.indexOf(name) * 10

  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-answers-'))
    listener = await Listener.start(names.map(portOf))
    const told = await Promise.all(names.map(tell))
    names.forEach((name, n) => (stories[name] = told[n]!))
    await listener.stop()
  })

  afterAll(async () => {
    await listener.close()
    await rm(folder, { recursive: true })
  })

  async function tell(name: string, line: number): Promise<Story> {
    const { heard, keys = [], machine = 'leave-word' } = ANSWERS[name]!
    const presses = keys.flatMap(([ms, key]) => [pause(ms), press(key)])
    const steps = [INVITE, RING, PICK_UP, sound(await recording(folder, heard)), ...presses, TILL_BYE]
    const phone = await Phone.start(steps, portOf(name), 1)
    const described = {
      ...{ kind: 'sip', name: 'calls', user: 'clinic', localAddress: '127.0.0.1', allow: ['+1613'], lines: 1, machine },
      trunk: { host: '127.0.0.1', port: phone.port },
      rtpPorts: { from: 33_200 + line * 4, to: 33_203 + line * 4 },
    }
    const gateway = createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
    const story: Story = { ended: '', keys: [], exit: null }
    await gateway.start({
      receipt: async ({ state, code }) => void (story.ended = `${state} ${code}`),
      message: async () => {},
      keyPressed: async ({ pressed }) => (story.keys.push(pressed.meaning), null),
    })
    const notAfter = new Date(Date.now() + 3_600_000)
    const about = { id: `m-${name}`, channel: 'voice', to: '+16135550142', text: 'x', language: 'en' } as const
    expect(await gateway.send({ ...about, notAfter, voice: script })).toEqual({ kind: 'accepted' })
    await gateway.stop()
    story.exit = await phone.ended()
    await phone.close()
    return story
  }

  /** How surely these words were said to whoever answered: 1 = the very same. */
  async function said(name: string, words: string): Promise<number> {
    const speech = await espeak().speak(words, { language: 'en', locale: 'en-CA' })
    return likeness(await listener.soundTo(portOf(name)), speech)
  }

  it.each(['machine', 'shortMachine', 'beepsTwice'])('as a machine that beeps is left word: %s', async (name) => {
    expect(stories[name]).toEqual({ ended: 'undelivered voicemail', keys: [], exit: 0 })
    expect(await said(name, script.voicemail)).toBeGreaterThan(0.9)
    expect(await said(name, MESSAGE)).toBeLessThan(0.9)
  })

  it('as a machine is not greeted while its own greeting is short', async () => {
    expect(await said('shortMachine', GREETING)).toBeLessThan(0.9)
  })

  it('as a machine is told nothing where the clinic wants it so', async () => {
    expect(stories.toHangUpOn).toEqual({ ended: 'undelivered machine', keys: [], exit: 0 })
    expect(await said('toHangUpOn', script.voicemail)).toBeLessThan(0.9)
  })

  it.each(['talksAtLength', 'inNoise', 'afterTone'])('as a person is heard by key: %s', async (name) => {
    expect(stories[name]).toEqual({ ended: 'delivered answered', keys: ['confirm'], exit: 0 })
    expect(await said(name, GREETING)).toBeGreaterThan(0.9)
  })
})
