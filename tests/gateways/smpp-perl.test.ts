import { afterAll, beforeAll, describe, expect, it, onTestFinished, vi } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createSmppGateway } from '../../src/adapters/gateways/smpp/smpp-gateway.ts'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { gatewayContract, message, type Rig } from './contract.ts'
import { FATES, PATIENT } from './fates.ts'
import { joinParts } from './join-parts.ts'
import { ORDERS, orderText, PerlSmsc, perlSmscPresent, type Order } from './peers/perl-smsc.ts'
import { Tap, tsharkPresent } from './peers/tap.ts'
import { recordingEars } from './recording-ears.ts'
import { phoneOctets, phoneParts } from './smpp-octets.ts'

// Against Debian's Net::SMPP, which shares no code with the gateway nor with npm smpp, and with Wireshark as referee.

const clock = { now: () => new Date() }

function gatewayTo(port: number, rest: object = {}): Gateway {
  const raw = {
    kind: 'smpp',
    name: 'centre',
    host: '127.0.0.1',
    port,
    systemId: 'daysix',
    password: 'env:SMSC',
    from: { address: '80001' },
    answerMs: 3_000,
    reconnectMs: 50,
    pauseMs: 50,
    ...rest,
  }
  return createSmppGateway(raw, { clock, random: Math.random, secret: () => 'secret', memory: scratchMemory() })
}

async function perlRig(env: Record<string, string>, rest: object): Promise<Rig> {
  const smsc = await PerlSmsc.start(env)
  const ears = recordingEars()
  const gateway = gatewayTo(smsc.port, rest)
  await gateway.start(ears)
  let reference = 0
  return {
    gateway,
    ears,
    taken: async (number) => joinParts(smsc.taken(), number),
    say: async (text) => {
      reference++
      for (const { octets, data_coding: dc, esm_class: esm } of phoneParts(phoneOctets(text), reference)) {
        await gateway.send(message(ORDERS, orderText({ from: PATIENT.slice(1), dc, esm, hex: octets.toString('hex') })))
      }
    },
    close: async () => {
      await gateway.stop()
      await smsc.stop()
    },
  }
}

describe.skipIf(!perlSmscPresent())('with an independent message centre', () => {
  gatewayContract('smpp with message_payload, ids in hexadecimal here and decimal there', () =>
    perlRig({ IDS: 'hexsubmit' }, { long: 'payload', ids: { accept: 'hex', receipt: 'decimal' } }),
  )

  let smsc: PerlSmsc
  let gateway: Gateway
  const ears = recordingEars()
  beforeAll(async () => {
    smsc = await PerlSmsc.start({ THROTTLE: '2' })
    gateway = gatewayTo(smsc.port, { long: 'sar' })
    await gateway.start(ears)
  })
  afterAll(async () => {
    await gateway.stop()
    await smsc.stop()
  })

  const send = (to: string, text?: string) => gateway.send(message(to, text))
  const sendUntilAccepted = (to: string) => vi.waitFor(async () => expect((await send(to)).kind).toBe('accepted'), SOON)

  /** Orders replies and waits until as many texts were heard. */
  async function hear(orders: Omit<Order, 'from'>[], texts = 1): Promise<string[]> {
    const before = ears.heards.length
    for (const order of orders) await send(ORDERS, orderText({ from: '16135550142', ...order }))
    await vi.waitFor(() => expect(ears.heards.length).toBe(before + texts), SOON)
    return ears.heards.slice(before).map((heard) => heard.text)
  }

  it('binds as what the specification calls version 3.4', () => {
    expect(smsc.events('bind')).toEqual([expect.objectContaining({ version: 0x34, system: 'daysix', ok: 1 })])
  })

  it('sends long texts in parts marked by optional parameters, each of which is confirmed', async () => {
    const outgoing = message(FATES.accept, `${'a'.repeat(152)}€${'a'.repeat(152)}`)
    await gateway.send(outgoing)
    const parts = smsc.taken().filter((one) => one.part !== undefined)
    expect(parts.map(({ octets, part }) => [octets, part!.slice(1)])).toEqual([
      [152, [3, 1]],
      [153, [3, 2]],
      [1, [3, 3]],
    ])
    await vi.waitFor(() => expect(ears.receipts.filter((one) => one.messageId === outgoing.id)).toHaveLength(1), SOON)
  })

  it('reads a receipt that has nothing but optional parameters', async () => {
    const outgoing = message('+16135550187')
    await gateway.send(outgoing)
    await vi.waitFor(
      () => expect(ears.receipts.find((one) => one.messageId === outgoing.id)?.state).toBe('delivered'),
      SOON,
    )
  })

  it('tells the code of the fault with the receipt', async () => {
    const outgoing = message(FATES.undelivered)
    await gateway.send(outgoing)
    await vi.waitFor(() => expect(ears.receipts.find((one) => one.messageId === outgoing.id)?.code).toBe('011'), SOON)
  })

  it.each([
    ['GSM with its extension', { dc: 0, hex: '1b65201b3c041b3d' }, '€ [è~'],
    ['GSM that shows an unknown extension as the basic sign', { dc: 0, hex: '1b611b1b' }, 'a '],
    ['IA5', { dc: 1, hex: '61405b5f5d24' }, 'a@[_]$'],
    ['Latin-1', { dc: 3, hex: 'e9ea40' }, 'éê@'],
    ['Cyrillic of ISO 8859-5', { dc: 6, hex: 'd4d0' }, 'да'],
    ['UCS-2 beyond the basic plane', { dc: 8, hex: '0031d83dde00' }, '1😀'],
    ['a flash text in a GSM coding scheme, its eighth bits ignored', { dc: 0xf0, hex: '4f75ec' }, 'Oul'],
    ['UCS-2 in a GSM coding scheme', { dc: 0x18, hex: '00e7' }, 'ç'],
    ['a message_payload', { dc: 8, payload: 1 as const, hex: '0416'.repeat(20) }, 'Ж'.repeat(20)],
    ['a header that says nothing about parts', { dc: 0, esm: 0x40, hex: '0402020000' + '4f75' }, 'Ou'],
    ['a header that runs over the end', { dc: 0, esm: 0x40, hex: 'ff4f75' }, ''],
    ['UCS-2 of an odd length', { dc: 8, hex: '00e700' }, 'ç\ufffd'],
  ])('reads a reply in %s', async (_, order, expected) => {
    expect(await hear([order])).toEqual([expected])
  })

  it('joins parts in any order, with references of 8 or 16 bits or optional parameters', async () => {
    const part = (header: string, text: string) => ({
      dc: 0,
      esm: 0x40,
      hex: header + Buffer.from(text).toString('hex'),
    })
    expect(await hear([part('0500037a0202', 'second'), part('0500037a0201', 'first ')])).toEqual(['first second'])
    expect(await hear([part('06080412340201', 'one '), part('06080412340202', 'two')])).toEqual(['one two'])
    const sar = (n: number, text: string) => ({ dc: 0, sar: `777,2,${n}`, hex: Buffer.from(text).toString('hex') })
    expect(await hear([sar(2, 'deux'), sar(1, 'un ')])).toEqual(['un deux'])
  })

  it('mends a character that the sender cut in two', async () => {
    const halves = ['0500037b020100e7d83d', '0500037b0202de000021'].map((hex) => ({ dc: 8, esm: 0x40, hex }))
    expect(await hear(halves)).toEqual(['ç😀!'])
  })

  it('does not hear from names and short codes', async () => {
    const before = ears.heards.length
    await send(ORDERS, orderText({ from: 'BANK', ton: 5, dc: 0, hex: '57494e' }))
    expect(await hear([{ dc: 0, hex: '4f4b' }])).toEqual(['OK'])
    expect(ears.heards.length).toBe(before + 1)
  })

  it('answers a request that nobody knows, and goes on', async () => {
    expect((await send('+16135550196')).kind).toBe('accepted')
    await vi.waitFor(
      () => expect(smsc.events('other')).toContainEqual(expect.objectContaining({ status: 0x03, seq: 4711 })),
      SOON,
    )
    expect((await send(FATES.accept)).kind).toBe('accepted')
  })

  it('takes a generic refusal as the answer it is', async () => {
    expect(await send('+16135550197')).toEqual({ kind: 'misconfigured', code: 'smpp-0x03' })
  })

  it.each([
    ['an absurd length', '+16135550195'],
    ['a length shorter than its own header', '+16135550194'],
  ])('gives up a connection on which a PDU has %s, and makes a new one', async (_, number) => {
    const binds = smsc.events('bind').length
    expect(await send(number)).toEqual({ kind: 'unknown', code: 'link-lost' })
    await sendUntilAccepted(FATES.accept)
    expect(smsc.events('bind').length).toBe(binds + 1)
  })

  it('pauses when it was too fast, and is heard again afterwards', async () => {
    const outcome = await send(FATES.throttle)
    expect(outcome).toMatchObject({ kind: 'throttled', code: 'smpp-0x58' })
    expect(await send(FATES.accept)).toMatchObject({ kind: 'throttled', code: 'paused' })
    await sendUntilAccepted(FATES.throttle)
    await sendUntilAccepted(FATES.accept)
  })

  it('binds as transmitter and as receiver where the centre knows no transceiver', async () => {
    const old = await PerlSmsc.start()
    onTestFinished(() => old.stop())
    const pair = gatewayTo(old.port, { bind: 'pair' })
    await pair.start(ears)
    expect((await pair.send(message(FATES.accept))).kind).toBe('accepted')
    await pair.stop()
    expect(
      old
        .events('bind')
        .map((bind) => bind.command)
        .sort(),
    ).toEqual([0x01, 0x02])
    await vi.waitFor(() => expect(old.events('unbind')).toHaveLength(2), SOON)
  })

  it('says that it is misconfigured when its password is refused', async () => {
    const strange = await PerlSmsc.start({ SECRET: 'other' })
    onTestFinished(() => strange.stop())
    const refused = gatewayTo(strange.port)
    onTestFinished(() => refused.stop())
    await refused.start(ears)
    expect(await refused.send(message(FATES.accept))).toEqual({ kind: 'misconfigured', code: 'smpp-0x0e' })
  })
})

describe.skipIf(!perlSmscPresent() || !tsharkPresent())('on the wire, as the Wireshark dissector reads it', () => {
  const texts = ['Visit 9:30 €[é', 'Ça', `${'Ж'.repeat(66)}😀${'Ж'.repeat(66)}`, 'a'.repeat(161)]

  async function traffic(rest: object): Promise<Tap> {
    const smsc = await PerlSmsc.start()
    const tap = await Tap.before(smsc.port)
    const gateway = gatewayTo(tap.port, { ...rest, enquireMs: 50 })
    await gateway.start(recordingEars())
    for (const text of texts)
      await gateway.send({ ...message(FATES.accept, text), notAfter: new Date('2031-03-18T13:30:00Z') })
    await vi.waitUntil(() => smsc.events('enquiry').length > 0, SOON)
    await gateway.stop()
    await smsc.stop()
    await tap.close()
    return tap
  }

  it('every PDU is well formed, in a conversation that is bound, kept alive and ended', async () => {
    const tap = await traffic({})
    expect(await tap.dissect('_ws.malformed || _ws.expert.severity == error', 'frame.number')).toEqual([])
    const commands = (await tap.dissect('smpp', 'smpp.command_id')).flatMap(([ids]) => ids!.split(','))
    for (const command of [9, 4, 0x80000005, 0x15, 6]) expect(commands.map(Number)).toContain(command)
    expect(await tap.dissect('smpp.command_id == 9', 'smpp.interface_version', 'smpp.system_id')).toEqual([
      ['52', 'daysix'],
    ])
  })

  it('texts travel in the alphabet they claim, cut where they were counted', async () => {
    const tap = await traffic({})
    const fields = [
      'smpp.data_coding',
      'smpp.sm_length',
      'smpp.message',
      'gsm_sms.udh.mm.msg_parts',
      'gsm_sms.udh.mm.msg_part',
    ]
    const rows = await tap.dissect('smpp.command_id == 4', ...fields)
    const gsm = '566973697420393a3330201b651b3c05'
    expect(rows.slice(0, 2).map((row) => row.slice(0, 3))).toEqual([
      ['0x00', '16', gsm],
      ['0x00', '2', '0961'],
    ])
    expect(
      rows.slice(2).map(([coding, length, , parts, part]) => [coding, Number(length), Number(parts), Number(part)]),
    ).toEqual([
      ['0x08', 6 + 132, 3, 1],
      ['0x08', 6 + 134, 3, 2],
      ['0x08', 6 + 2, 3, 3],
      ['0x00', 6 + 153, 2, 1],
      ['0x00', 6 + 8, 2, 2],
    ])
  })

  it('addresses, expiry and the wish for a receipt are said as the specification says them', async () => {
    const tap = await traffic({ from: { address: 'Clinic 6' } })
    const fields = [
      'source_addr_ton',
      'source_addr_npi',
      'source_addr',
      'dest_addr_ton',
      'dest_addr_npi',
      'destination_addr',
      'regdel.receipt',
    ]
    const [row] = await tap.dissect('smpp.command_id == 4', ...fields.map((field) => `smpp.${field}`))
    expect(row).toEqual(['0x05', '0x00', 'Clinic 6', '0x01', '0x01', '16135550142', '0x01'])
    const [[expiry]] = (await tap.dissect('smpp.command_id == 4', 'smpp.validity_period')) as [[string]]
    expect(new Date(expiry).toISOString()).toBe('2031-03-18T13:30:00.000Z')
  })

  it('a relative expiry is the time that is left', async () => {
    const tap = await traffic({ validity: 'relative', long: 'payload' })
    const rows = await tap.dissect(
      'smpp.command_id == 4',
      'smpp.validity_period_r',
      'smpp.sm_length',
      'smpp.opt_param_tag',
    )
    expect(rows).toHaveLength(texts.length)
    expect(rows.at(-1)!.slice(1)).toEqual(['0', '0x0424'])
  })
})
