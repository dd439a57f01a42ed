import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it, onTestFinished, vi } from 'vitest'
import { createSipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import type { CallScript } from '../../src/domain/messages/voice/call-script.ts'
import type { Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { call } from '../messages/voice/example-calls.ts'
import { TEST_CERTIFICATE, TEST_KEY } from './certificate.ts'
import { forward, NUMBER_ELSEWHERE, TRANSFER } from './peers/diversions.ts'
import { likeness, Listener, samplesOf } from './peers/listener.ts'
import { freePort, present, Program } from './peers/programs.ts'
import { SecurePhone } from './peers/secure-phone.ts'
import { SipTap } from './peers/sip-tap.ts'
import { HANG_UP, INVITE, pause, Phone, PICK_UP, sippPresent, TILL_BYE } from './peers/sipp.ts'
import { tsharkPresent } from './peers/tap.ts'
import { recordingEars } from './recording-ears.ts'

const PATIENT = '+16135550142'
const SCRIPT: CallScript = {
  ...call('prep'),
  steps: { ...call('prep').steps, greeting: { say: ['Harbour Clinic. Press 1.'], keys: { '1': { go: 'message' } } } },
}
const MEDIA = 33_000

const outgoing = (id: string): Outgoing => ({
  ...{ id, channel: 'voice', to: PATIENT, text: 'x', language: 'en', voice: SCRIPT },
  notAfter: new Date(Date.now() + 3_600_000),
})

const ready = sippPresent() && tsharkPresent() && present('socat', ['-V'])

describe.skipIf(!ready)('a call over TLS', () => {
  let folder: string
  let authority: string
  let line = 0

  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-tls-'))
    authority = join(folder, 'authority.pem')
    await writeFile(authority, TEST_CERTIFICATE)
  })
  afterAll(() => rm(folder, { recursive: true }))

  async function send(port: number, changes: object = {}, during: () => Promise<void> = async () => {}) {
    const from = 33_400 + 4 * line++
    const described = {
      ...{ kind: 'sip', name: 'calls', user: 'clinic', localAddress: '127.0.0.1', allow: ['+1613'], lines: 1 },
      ...{ rtpPorts: { from, to: from + 3 }, transport: 'tls', tls: { caFile: authority }, media: 'srtp' },
      ...{ trunk: { host: '127.0.0.1', port }, ...changes },
    }
    const gateway = createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
    const ears = recordingEars()
    await gateway.start(ears)
    const began = performance.now()
    const outcome: SendOutcome = await gateway.send(outgoing(`m-${line}`))
    const ms = performance.now() - began
    await during()
    await gateway.stop()
    return { outcome, ms, ears }
  }

  it('with SRTP says its words to a phone of another process, hears its keys, and shows neither on the wire', async () => {
    const phone = await SecurePhone.start(PATIENT, MEDIA, 'srtp-mand')
    const listener = await Listener.start([MEDIA])
    const tap = await SipTap.start(`tcp port ${phone.port}`)
    const press = async () => {
      for (const ms of [2500, 1500, 1500]) {
        await new Promise((resolve) => setTimeout(resolve, ms))
        await phone.press('1')
      }
    }
    const { outcome, ears } = await send(phone.port, {}, press)
    await Promise.all([listener.stop(), tap.stop()])
    expect(outcome).toEqual({ kind: 'accepted' })
    expect(ears.answereds.map(({ pressed }) => pressed)).toEqual([{ meaning: 'confirm' }])
    expect(phone.lines.join('\n')).toMatch(/cryptosuite=AES_CM_128_HMAC_SHA1_80/)
    const words = await espeak().speak(SCRIPT.steps.greeting!.say.join(' '), SCRIPT)
    expect(likeness(samplesOf(await phone.heard()), words)).toBeGreaterThan(0.9)
    // The same packets, read as the sound in the clear that they would be without keys.
    const wire = await listener.soundTo(MEDIA)
    expect(wire.length).toBeGreaterThan(8000)
    expect(likeness(wire, words)).toBeLessThan(0.5)
    expect(tap.count('tls.app_data')).toBeGreaterThan(3)
    expect(tap.count(`sip || frame contains "INVITE" || frame contains "${PATIENT}"`)).toBe(0)
    await Promise.all([listener.close(), tap.close(), phone.close()])
  }, 60_000)

  it.each([
    ['of an authority that is not trusted', false, 'tls-untrusted'],
    ['of another name', true, 'tls-name'],
  ])('is not made to a trunk with a certificate %s', async (_, trusted, code) => {
    const phone = await SecurePhone.start(PATIENT, MEDIA + 10, 'srtp-mand')
    const tls = trusted ? { serverName: 'trunk.example', caFile: authority } : {}
    const { outcome, ms } = await send(phone.port, { tls })
    expect(outcome).toEqual({ kind: 'misconfigured', code })
    expect(ms).toBeLessThan(10_000)
    expect(phone.lines.filter((words) => /sipsess connect|incoming/i.test(words))).toEqual([])
    await phone.close()
  })

  it('ends at once where one side speaks TLS and the other does not', async () => {
    const plain = await Phone.start([INVITE, PICK_UP, TILL_BYE], MEDIA + 20, 1, { transport: 'tcp' })
    const toPlain = await send(plain.port)
    expect(['tls-none', 'tls-refused', 'econnreset', 'connect-timeout']).toContain(codeOf(toPlain.outcome))
    expect(toPlain.ms).toBeLessThan(10_000)
    expect(await plain.notes()).toEqual([])
    await plain.close()
    const secure = await SecurePhone.start(PATIENT, MEDIA + 30, 'srtp-mand')
    const toSecure = await send(secure.port, { transport: 'tcp', tls: undefined, media: 'plain' })
    expect(codeOf(toSecure.outcome)).toBe('trunk-lost')
    await secure.close()
  }, 60_000)

  it('ends in words where the trunk takes no SRTP, or nothing else', async () => {
    const plain = await SecurePhone.start(PATIENT, MEDIA + 40, 'none')
    const refused = await send(plain.port)
    await plain.close()
    expect(refused.outcome).toEqual({ kind: 'misconfigured', code: 'media-refused' })
    const secure = await SecurePhone.start(PATIENT, MEDIA + 50, 'srtp-mand')
    const wanted = await send(secure.port, { media: 'plain' })
    expect(wanted.outcome).toEqual({ kind: 'misconfigured', code: 'media-refused' })
    await secure.close()
  }, 60_000)

  // SIPp speaks no TLS here: socat, on OpenSSL, ends it in front of SIPp.
  it.each([
    ['302 moved', [INVITE, forward('302 Moved Temporarily')], 'plain', { kind: 'rejected', code: 'redirected' }],
    ['a transfer', [INVITE, PICK_UP, pause(300), TRANSFER, pause(800), HANG_UP], 'plain', { kind: 'accepted' }],
    ['an answer in the clear', [INVITE, PICK_UP, TILL_BYE], 'srtp', { kind: 'rejected', code: 'media-plain' }],
  ])(
    'by %s reaches nobody but the patient',
    async (name, steps, media, expected) => {
      const elsewhere = await Phone.start([INVITE, PICK_UP, TILL_BYE], MEDIA + 60)
      onTestFinished(() => elsewhere.close())
      const at = `${NUMBER_ELSEWHERE}@127.0.0.1:${elsewhere.port}`
      const phone = await Phone.start(
        steps.map((step) => step.replaceAll('ELSEWHERE', at)),
        MEDIA + 70,
        1,
        { transport: 'tcp' },
      )
      onTestFinished(() => phone.close())
      const port = await freePort()
      const pem = join(folder, 'trunk.pem')
      await writeFile(pem, TEST_KEY + TEST_CERTIFICATE)
      const door = new Program('socat', [
        '-d',
        '-d',
        `OPENSSL-LISTEN:${port},bind=127.0.0.1,reuseaddr,cert=${pem},verify=0`,
        `TCP:127.0.0.1:${phone.port}`,
      ])
      onTestFinished(() => door.stop())
      await vi.waitUntil(() => door.lines.some((words) => words.includes('listening')), SOON)
      const tap = await SipTap.start(
        `tcp port ${phone.port} or udp port ${elsewhere.port} or udp port ${phone.mediaPort}`,
        phone.port,
      )
      onTestFinished(() => tap.close())
      const { outcome } = await send(port, { media })
      expect(outcome).toEqual(expected)
      expect(await phone.ended()).toBe(0)
      await tap.stop()
      expect([...new Set(tap.invitedOver(phone.port))]).toEqual([`sip:${PATIENT}@127.0.0.1`])
      expect(await elsewhere.notes()).toEqual([])
      expect(tap.requestsTo(elsewhere.port)).toEqual([])
      // Sound that was to be encrypted never leaves in the clear, not even its first packet.
      expect(tap.count(`udp.dstport == ${phone.mediaPort}`) > 0).toBe(name === 'a transfer')
    },
    60_000,
  )
})

const codeOf = (outcome: SendOutcome) => ('code' in outcome ? outcome.code : outcome.kind)
