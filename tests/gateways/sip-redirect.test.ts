import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { createSipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import type { Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { call } from '../messages/voice/example-calls.ts'
import { forward, NUMBER_ELSEWHERE, TRANSFER, WATCHED_INVITE } from './peers/diversions.ts'
import { Meddler } from './peers/meddler.ts'
import { HANG_UP, INVITE, pause, Phone, PICK_UP, refuse, RING, sippPresent, TILL_BYE } from './peers/sipp.ts'
import { SipTap } from './peers/sip-tap.ts'
import { tsharkPresent } from './peers/tap.ts'
import { recordingEars } from './recording-ears.ts'

const PATIENT = '+16135550142'
/** Every call of this file, so that those of other files on the same wire are told apart. */
const CALLER = 'clinic-diverted'

interface Story {
  outcome: SendOutcome
  /** Requests for a call, as the wire had them, with the port they went to. */
  invites: { target: string; to: string; port: number }[]
  /** Port of the patient's phone. */
  phone: number
  /** Exit code of the phone: 0 when every message came as its scenario expects. */
  exit: number | null
}

interface Way {
  steps: string[]
  /** What somebody else does meanwhile. */
  meddle?: (meddler: Meddler) => Promise<void>
  /** The phone is left in the middle of its steps. */
  cutShort?: true
}

const ANSWERED = [WATCHED_INVITE, PICK_UP, pause(3000), HANG_UP]

/** Ways in which a call may be sent to another number before it is answered. */
const DIVERSIONS: Record<string, Way> = {
  '300 with several choices': { steps: [INVITE, forward('300 Multiple Choices', 3)] },
  '301 moved for good': { steps: [INVITE, forward('301 Moved Permanently')] },
  '302 moved for now': { steps: [INVITE, forward('302 Moved Temporarily')] },
  '302 after it rang': { steps: [INVITE, RING, pause(300), forward('302 Moved Temporarily')] },
  '302 back to itself': { steps: [INVITE, refuse('302 Moved Temporarily')] },
  '305 through a proxy': { steps: [INVITE, forward('305 Use Proxy')] },
  '380 by another service': { steps: [INVITE, forward('380 Alternative Service', 2)] },
  '302 from somebody else': {
    steps: [WATCHED_INVITE, pause(20_000)],
    meddle: (meddler) => meddler.redirect(),
    cutShort: true,
  },
}

/** Ways in which it may be tried afterwards; the call goes on and ends as any other. */
const TRANSFERS: Record<string, Way> = {
  'a transfer in the call': { steps: [INVITE, PICK_UP, pause(300), TRANSFER, pause(1500), HANG_UP] },
  'a transfer by somebody else': { steps: ANSWERED, meddle: (meddler) => meddler.transfer() },
  'a call in place of it': { steps: ANSWERED, meddle: (meddler) => meddler.replace() },
  'another contact in the answer': {
    steps: [INVITE, PICK_UP.replace('Contact: <sip:', `Contact: <sip:${NUMBER_ELSEWHERE}@`), pause(1500), HANG_UP],
  },
}
const ALL: Record<string, Way> = { ...DIVERSIONS, ...TRANSFERS }

describe.skipIf(!sippPresent() || !tsharkPresent())('a call that a trunk sends elsewhere', () => {
  const stories: Record<string, Story> = {}
  let elsewhere: Phone
  let tap: SipTap

  beforeAll(async () => {
    // Whoever is asked for instead would pick up.
    elsewhere = await Phone.start([INVITE, PICK_UP, TILL_BYE], 27_900)
    tap = await SipTap.start()
    const names = Object.keys(ALL)
    const told = await Promise.all(names.map((name, line) => tell(ALL[name]!, line)))
    await tap.stop()
    for (const [line, name] of names.entries())
      stories[name] = { ...told[line]!, invites: tap.invites(`${CALLER}-${line}`) }
  })

  afterAll(async () => {
    await tap.close()
    await elsewhere.close()
  })

  async function tell({ steps, meddle, cutShort }: Way, line: number): Promise<Omit<Story, 'invites'>> {
    const at = `${NUMBER_ELSEWHERE}@127.0.0.1:${elsewhere.port}`
    const phone = await Phone.start(
      steps.map((step) => step.replaceAll('ELSEWHERE', at)),
      27_000 + line * 10,
      1,
    )
    const gateway = gatewayTo(phone.port, line)
    await gateway.start(recordingEars())
    const sending = gateway.send(outgoing(`m-${line}`))
    const meddler = meddle && (await Meddler.on(phone, at))
    await meddle?.(meddler!)
    const outcome = await sending
    await gateway.stop()
    const exit = cutShort ? null : await phone.ended()
    await phone.close()
    await meddler?.close()
    return { outcome, exit, phone: phone.port }
  }

  /** Whom calls ask for, without the ports of the phones. */
  const askedFor = (invites: Story['invites']) =>
    [...new Set(invites.flatMap(({ target, to }) => [target, to]))].map((uri) => uri.replace(/:\d+$/, ''))

  it.each(Object.keys(DIVERSIONS))('by %s is not made, and is refused for good', (name) => {
    const { outcome, exit } = stories[name]!
    expect(outcome).toEqual({ kind: 'rejected', code: 'redirected' })
    if (!DIVERSIONS[name]!.cutShort) expect(exit).toBe(0)
  })

  it.each(Object.keys(TRANSFERS))('by %s stays with the one who was called', (name) => {
    expect(stories[name]).toMatchObject({ outcome: { kind: 'accepted' }, exit: 0 })
  })

  it.each(Object.keys(ALL))('by %s asks nobody on the wire for anybody but the patient', (name) => {
    const { invites, phone } = stories[name]!
    const leaving = invites.filter(({ port }) => port === phone)
    // What the engine itself wants of its first hop, on this machine, is no call yet; and it has one such hop.
    const elsewhere = new Set(invites.map(({ port }) => port).filter((port) => port !== phone))
    expect(elsewhere.size).toBeLessThanOrEqual(1)
    expect(askedFor(leaving)).toEqual([`sip:${PATIENT}@127.0.0.1`])
  })

  it.each(Object.keys(ALL).filter((name) => !name.endsWith('somebody else')))(
    'by %s does not even tempt the engine',
    (name) => {
      expect(askedFor(stories[name]!.invites)).toEqual([`sip:${PATIENT}@127.0.0.1`])
    },
  )

  it('never reaches the other number', async () => {
    expect(await elsewhere.notes()).toEqual([])
    expect(tap.requestsTo(elsewhere.port).filter((method) => method === 'INVITE')).toEqual([])
  })
})

function outgoing(id: string): Outgoing {
  const notAfter = new Date(Date.now() + 3_600_000)
  return { id, channel: 'voice', to: PATIENT, text: 'x', language: 'en', notAfter, voice: call('prep') }
}

function gatewayTo(port: number, line: number) {
  const rtpPorts = { from: 27_600 + line * 4, to: 27_603 + line * 4 }
  const limits = { lines: 1, allow: ['+1613'], ringSeconds: 30 }
  const trunk = { host: '127.0.0.1', port }
  const described = {
    kind: 'sip',
    name: 'calls',
    localAddress: '127.0.0.1',
    user: `${CALLER}-${line}`,
    trunk,
    rtpPorts,
    ...limits,
  }
  return createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
}
