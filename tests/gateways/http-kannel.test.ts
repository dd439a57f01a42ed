import { describe, expect, it, onTestFinished, vi } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import type { CallbackGateway } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { gatewayContract, message, type Rig } from './contract.ts'
import { FATES, PATIENT } from './fates.ts'
import { FakeHandset, Kannel, kannelDescription, kannelPresent } from './peers/kannel.ts'
import { ORDERS, orderText, PerlSmsc, perlSmscPresent, type PerlTaken } from './peers/perl-smsc.ts'
import { recordingEars } from './recording-ears.ts'
import { phoneOctets, phoneParts } from './smpp-octets.ts'
import { Webhook } from './webhook.ts'

// Against Debian's Kannel, set up from the examples in infra/gateways/kannel.

const DEPS = {
  clock: { now: () => new Date() },
  random: Math.random,
  after: () => {},
  callbackUrl: 'http://127.0.0.1',
  memory: scratchMemory(),
}

async function throughKannel(centre?: string) {
  const made: { gateway?: CallbackGateway } = {}
  const webhook = await Webhook.for(() => made.gateway!)
  const kannel = await Kannel.start(webhook.url, centre)
  const secrets: Record<string, string> = {
    KANNEL_USER: 'daysix',
    KANNEL_PASSWORD: 'secret',
    KANNEL_HOOK_KEY: 'secret',
  }
  const described = await kannelDescription(kannel.sendPort)
  const gateway = createGateway(described, {
    ...DEPS,
    secret: (name) => secrets[name],
    callbackUrl: webhook.url,
  }) as CallbackGateway
  made.gateway = gateway
  const ears = recordingEars()
  await gateway.start(ears)
  const close = async () => {
    await gateway.stop()
    await kannel.stop()
    await webhook.close()
  }
  return { gateway, ears, kannel, webhook, close }
}

const itself = 'Kannel answers for itself and tries again by itself: it cannot be brought to this'
const CHAIN_CANNOT = {
  later: itself,
  throttle: itself,
  drop: itself,
  silent: itself,
  twice: itself,
  earlyReceipt: itself,
}

async function fakeRig(): Promise<Rig> {
  const { gateway, ears, kannel, close } = await throughKannel()
  const handset = await FakeHandset.on(kannel.centrePort)
  return {
    gateway,
    ears,
    taken: async (number) => handset.textsTo(number),
    say: async (text) => handset.say(PATIENT.slice(1), text),
    close: async () => {
      handset.close()
      await close()
    },
  }
}

/** Our gateway, Kannel as an SMPP client, and the independent message centre behind it. */
async function chain() {
  const smsc = await PerlSmsc.start({ IDS: 'hexsubmit' })
  const centre = [
    'group = smsc',
    'smsc = smpp',
    'smsc-id = centre',
    'host = 127.0.0.1',
    `port = ${smsc.port}`,
    'transceiver-mode = 1',
    'smsc-username = kannel',
    'smsc-password = secret',
    'system-type = ""',
    'interface-version = 34',
    'msg-id-type = 0x01',
    'source-addr-autodetect = true',
    'dest-addr-ton = 1',
    'dest-addr-npi = 1',
    'reconnect-delay = 1',
    '',
  ].join('\n')
  const rig = await throughKannel(centre)
  await vi.waitFor(() => expect(smsc.events('bind')).toHaveLength(1), SOON)
  const close = async () => {
    await rig.close()
    await smsc.stop()
  }
  return { ...rig, smsc, close }
}

async function chainRig(): Promise<Rig> {
  const { gateway, ears, smsc, close } = await chain()
  let reference = 100
  return {
    gateway,
    ears,
    close,
    taken: async (number) => textsOf(smsc.taken(), number),
    say: async (text) => {
      reference++
      for (const { octets, data_coding: dc, esm_class: esm } of phoneParts(phoneOctets(text), reference)) {
        await gateway.send(message(ORDERS, orderText({ from: PATIENT.slice(1), dc, esm, hex: octets.toString('hex') })))
      }
    },
  }
}

/** Kannel cuts characters in two, so that UCS-2 can only be read once its octets are joined. */
function textsOf(taken: PerlTaken[], number: string): string[] {
  const open = new Map<number, PerlTaken[]>()
  const texts: string[] = []
  for (const piece of taken.filter((one) => one.to === number)) {
    const [reference = 0, total = 1, nth = 1] = piece.part ?? []
    const parts = open.get(reference) ?? []
    parts[nth - 1] = piece
    open.set(reference, parts)
    if (Object.keys(parts).length < total) continue
    open.delete(reference)
    const octets = Buffer.from(parts.map((part) => String(part.hex)).join(''), 'hex')
    texts.push(
      piece.data_coding === 8 ? new TextDecoder('utf-16be').decode(octets) : parts.map((part) => part.text).join(''),
    )
  }
  return texts
}

describe.skipIf(!kannelPresent())('through Kannel', () => {
  gatewayContract('http to Kannel with its pretended message centre', fakeRig, {
    cannot: { ...CHAIN_CANNOT, reject: itself, undelivered: itself, noReceipt: itself },
  })

  it('no answer of ours is texted to the patient, a wrong password is our fault, a stopped Kannel is tried later', async () => {
    const { gateway, ears, kannel, webhook, close } = await throughKannel()
    onTestFinished(close)
    const handset = await FakeHandset.on(kannel.centrePort)
    onTestFinished(() => handset.close())
    handset.say(PATIENT.slice(1), 'STOP')
    await vi.waitFor(() => expect(ears.heards).toHaveLength(1), SOON)
    const stranger = createGateway((await kannelDescription(kannel.sendPort)).replace('env:KANNEL_USER', 'somebody'), {
      ...DEPS,
      secret: () => 'wrong',
    })
    await stranger.start(recordingEars())
    expect(await stranger.send(message(FATES.accept))).toEqual({ kind: 'misconfigured', code: 'http-403' })
    await stranger.stop()
    await kannel.stop()
    expect(webhook.calls).toEqual([expect.objectContaining({ status: 200, body: '' })])
    expect(handset.got).toEqual([])
    expect(await gateway.send(message(FATES.accept))).toEqual({ kind: 'later', code: 'econnrefused' })
  })

  describe.skipIf(!perlSmscPresent())('as SMPP client of an independent message centre', () => {
    gatewayContract('http to Kannel to SMPP and all the way back', chainRig, {
      cannot: CHAIN_CANNOT,
      rejectsByReceipt: true,
    })
  })
})
