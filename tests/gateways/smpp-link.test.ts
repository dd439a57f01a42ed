import net, { type AddressInfo } from 'node:net'
import { once } from 'node:events'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import tls from 'node:tls'
import { afterEach, describe, expect, it, vi } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createSmppGateway } from '../../src/adapters/gateways/smpp/smpp-gateway.ts'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import type { Failure } from '../../src/domain/failure.ts'
import { SOON } from '../harness/patience.ts'
import { TEST_CERTIFICATE, TEST_KEY } from './certificate.ts'
import { message } from './contract.ts'
import { FATES } from './fates.ts'
import { freePort } from './peers/programs.ts'
import { TestSmsc } from './peers/test-smsc.ts'
import { recordingEars } from './recording-ears.ts'

const ending: (() => Promise<unknown> | void)[] = []

afterEach(async () => {
  for (const end of ending.splice(0).reverse()) await end()
})

async function centre(): Promise<{ smsc: TestSmsc; port: number }> {
  const smsc = new TestSmsc()
  const port = await smsc.listen()
  ending.push(() => smsc.close())
  return { smsc, port }
}

async function gatewayTo(port: number, rest: object = {}, told: unknown[] = []) {
  const raw = {
    kind: 'smpp',
    name: 'centre',
    host: '127.0.0.1',
    port,
    systemId: 'daysix',
    password: 'env:SMSC',
    ids: { accept: 'hex', receipt: 'decimal' },
    answerMs: 5_000,
    connectMs: 5_000,
    reconnectMs: 30,
    reconnectMaxMs: 100,
    pauseMs: 30,
    ...rest,
  }
  const gateway = createSmppGateway(raw, {
    clock: { now: () => new Date() },
    random: Math.random,
    secret: (name) => (name === 'SMSC' ? 'secret' : undefined),
    memory: scratchMemory(),
    tell: (what, { code }) => void told.push([what, code]),
  })
  const ears = recordingEars()
  await gateway.start(ears)
  ending.push(() => gateway.stop())
  return { gateway, ears }
}

const kindOf = async (gateway: Gateway, to: string = FATES.accept) => (await gateway.send(message(to))).kind
const untilAccepted = (gateway: Gateway) => vi.waitFor(async () => expect(await kindOf(gateway)).toBe('accepted'), SOON)

describe('the connection to a message centre', () => {
  it('is made once the centre is up, however late', async () => {
    const smsc = new TestSmsc()
    const port = await freePort()
    const { gateway } = await gatewayTo(port)
    expect(await gateway.send(message(FATES.accept))).toEqual({ kind: 'later', code: 'econnrefused' })
    await smsc.listen(port)
    ending.push(() => smsc.close())
    await untilAccepted(gateway)
  })

  it('is made again after it was lost, as often as it takes', async () => {
    const { smsc, port } = await centre()
    const { gateway } = await gatewayTo(port)
    for (let n = 1; n <= 3; n++) {
      await untilAccepted(gateway)
      smsc.dropAll()
    }
    await untilAccepted(gateway)
    expect(smsc.binds).toBe(4)
  })

  it('can be started again after it was stopped', async () => {
    const { smsc, port } = await centre()
    const { gateway, ears } = await gatewayTo(port)
    await gateway.stop()
    expect(await kindOf(gateway)).toBe('later')
    await gateway.start(ears)
    expect(await kindOf(gateway)).toBe('accepted')
    expect(smsc.binds).toBe(2)
  })

  it('lets nobody wait for ever: what was under way when it was lost is unknown, what had not begun is for later', async () => {
    const { smsc, port } = await centre()
    const { gateway } = await gatewayTo(port, { window: 2 })
    const sending = [1, 2, 3, 4, 5].map(() => kindOf(gateway, FATES.silent))
    await vi.waitFor(() => expect(smsc.taken).toHaveLength(2), SOON)
    smsc.dropAll()
    expect(await Promise.all(sending)).toEqual(['unknown', 'unknown', 'later', 'later', 'later'])
  })

  it('is given up and made again when the centre falls silent', async () => {
    const { smsc, port } = await centre()
    const { gateway } = await gatewayTo(port, { enquireMs: 50, answerMs: 80 })
    for (const session of smsc.sessions) session.removeAllListeners('pdu')
    await vi.waitFor(() => expect(smsc.binds).toBeGreaterThan(1), SOON)
    await untilAccepted(gateway)
  })

  it('is kept alive while nothing is sent', async () => {
    const { smsc, port } = await centre()
    const { gateway } = await gatewayTo(port, { enquireMs: 30 })
    let enquiries = 0
    for (const session of smsc.sessions) session.on('enquire_link', () => enquiries++)
    await vi.waitFor(() => expect(enquiries).toBeGreaterThan(2), SOON)
    expect(smsc.binds).toBe(1)
    expect(await kindOf(gateway)).toBe('accepted')
  })

  it('answers the centre when it asks whether we are there, and when it says goodbye', async () => {
    const { smsc, port } = await centre()
    const { gateway } = await gatewayTo(port)
    const [session] = [...smsc.sessions]
    const answers: string[] = []
    session!.on('pdu', (pdu: { command: string }) => answers.push(pdu.command))
    for (const command of ['enquire_link', 'unbind'] as const)
      session!.send(new (await import('smpp')).default.PDU(command))
    await vi.waitFor(() => expect(answers).toEqual(['enquire_link_resp', 'unbind_resp']), SOON)
    await untilAccepted(gateway)
    expect(smsc.binds).toBe(2)
  })

  it('is not waited for when the centre never answers the bind, as some do for a transceiver', async () => {
    const { smsc, port } = await centre()
    smsc.onBind = () => {}
    const { gateway } = await gatewayTo(port, { connectMs: 300, answerMs: 200 })
    expect(await gateway.send(message(FATES.accept))).toEqual({ kind: 'later', code: 'bind-timeout' })
  })

  it('is tried rarely when the centre refuses who we are, and says why', async () => {
    const { smsc, port } = await centre()
    smsc.onBind = (session, pdu) => session.send(pdu.response({ command_status: 0x0f }))
    const { gateway } = await gatewayTo(port, { reconnectMaxMs: 60_000 })
    expect(await gateway.send(message(FATES.accept))).toEqual({ kind: 'misconfigured', code: 'smpp-0x0f' })
    // One that is in trouble for now is tried again at once, and then ever more slowly.
    const troubled = await centre()
    troubled.smsc.onBind = (session, pdu) => session.send(pdu.response({ command_status: 0x08 }))
    await gatewayTo(troubled.port, { reconnectMaxMs: 60_000 })
    await vi.waitUntil(() => troubled.smsc.binds > 3, SOON)
    expect(smsc.binds).toBe(1)
  })

  it('does not hang on a port that is no message centre', async () => {
    const server = net.createServer((socket) => socket.on('error', () => {}).write('HTTP/1.1 400 Bad Request\r\n\r\n'))
    server.listen(0, '127.0.0.1')
    await once(server, 'listening')
    ending.push(() => void server.close())
    const { gateway } = await gatewayTo((server.address() as AddressInfo).port)
    expect((await gateway.send(message(FATES.accept))).kind).toBe('later')
  })
})

describe('a message whose fate was unknown', () => {
  it('is known again when its answer comes late and its receipt after that', async () => {
    const { port } = await centre()
    const { gateway, ears } = await gatewayTo(port, { answerMs: 100 })
    const outgoing = message(FATES.slow)
    expect(await gateway.send(outgoing)).toEqual({ kind: 'unknown', code: 'no-answer' })
    await vi.waitFor(() => expect(ears.receipts).toMatchObject([{ messageId: outgoing.id, state: 'delivered' }]), SOON)
  })
})

describe('a long message', () => {
  it('is finished though the centre finds it too fast in the middle', async () => {
    const { smsc, port } = await centre()
    smsc.refuseNext = [0, 0x58, 0x58]
    const { gateway } = await gatewayTo(port)
    expect(await kindOf(gateway)).toBe('accepted')
    smsc.refuseNext = [0, 0x58, 0x58]
    expect((await gateway.send(message(FATES.accept, 'x'.repeat(300)))).kind).toBe('accepted')
    expect(smsc.taken.slice(1).map((one) => one.part?.slice(1))).toEqual([
      [2, 1],
      [2, 2],
    ])
  })

  it('has an unknown fate when only its beginning got through', async () => {
    const { smsc, port } = await centre()
    smsc.refuseNext = [0, ...Array<number>(20).fill(0x58)]
    const { gateway } = await gatewayTo(port, { pauseMs: 10 })
    expect(await gateway.send(message(FATES.accept, 'x'.repeat(300)))).toEqual({ kind: 'unknown', code: 'partly-sent' })
  })
})

describe('the rate', () => {
  it('is kept', async () => {
    const { port } = await centre()
    const { gateway } = await gatewayTo(port, { ratePerSecond: 100 })
    const before = performance.now()
    await Promise.all(Array.from({ length: 31 }, () => kindOf(gateway, FATES.noReceipt)))
    expect(performance.now() - before).toBeGreaterThanOrEqual(295)
  })
})

describe('over TLS', () => {
  async function secureCentre() {
    const { smsc, port } = await centre()
    const server = tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE }, (socket) => {
      const peer = net.connect(port, '127.0.0.1')
      socket.pipe(peer).pipe(socket)
      socket.on('error', () => peer.destroy()).on('close', () => peer.destroy())
      peer.on('error', () => socket.destroy()).on('close', () => socket.destroy())
    })
    server.on('tlsClientError', () => {}).listen(0, '127.0.0.1')
    await once(server, 'listening')
    ending.push(() => void server.close())
    return { smsc, port: (server.address() as AddressInfo).port }
  }

  it('a centre is trusted whose authority is given', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'daysix-ca-'))
    ending.push(() => rmSync(folder, { recursive: true }))
    writeFileSync(join(folder, 'ca.pem'), TEST_CERTIFICATE)
    const { port } = await secureCentre()
    const { gateway } = await gatewayTo(port, { tls: { caFile: join(folder, 'ca.pem') } })
    expect(await kindOf(gateway)).toBe('accepted')
  })

  it('a centre that nobody vouches for is told nothing', async () => {
    const { smsc, port } = await secureCentre()
    const { gateway } = await gatewayTo(port, { tls: {} })
    expect(await gateway.send(message(FATES.accept))).toEqual({
      kind: 'misconfigured',
      code: 'depth_zero_self_signed_cert',
    })
    expect(smsc.binds).toBe(0)
  })

  it('a plain connection to a secure port ends in a timeout, not in silence', async () => {
    const { port } = await secureCentre()
    const { gateway } = await gatewayTo(port)
    expect((await gateway.send(message(FATES.accept))).kind).toBe('later')
  })
})

describe('a gateway that cannot be made', () => {
  it('says which password is missing, and which file', () => {
    const raw = { kind: 'smpp', name: 'centre', host: 'smsc.example', systemId: 'daysix', password: 'env:ABSENT' }
    const deps = {
      clock: { now: () => new Date() },
      random: Math.random,
      secret: (name: string) => (name === 'ABSENT' ? undefined : 'x'),
      memory: scratchMemory(),
    }
    const fieldOf = (described: object) => {
      try {
        createSmppGateway(described, deps)
      } catch (error) {
        return (error as Failure).detail.field
      }
      return 'none'
    }
    expect(fieldOf(raw)).toBe('ABSENT')
    expect(fieldOf({ ...raw, password: 'env:SMSC', tls: { caFile: '/nowhere/ca.pem' } })).toBe('tls.caFile')
  })
})

describe('what is no text', () => {
  const said = (data_coding: number, hex: string) => ({
    source_addr: '16135550142',
    data_coding,
    short_message: Buffer.from(hex, 'hex'),
  })

  // Codings of SMPP 3.4 §5.2.19: 2 and 4 are binary; 0xF5 is 8-bit data of class 1 (3GPP TS 23.038 §4).
  it.each([
    ['binary', 4, '00010203ff', ''],
    ['binary that would read as a yes', 2, '59', ''],
    ['8-bit data of a scheme', 0xf5, '796573', ''],
    ['half a sign', 8, 'd83d', '\ufffd'],
    ['control characters', 3, '000179ff', '\0\u0001yÿ'],
  ])('is kept as it came: %s', async (_, coding, hex, text) => {
    const { smsc, port } = await centre()
    const { ears } = await gatewayTo(port)
    await smsc.say(said(coding, hex))
    expect(ears.heards).toEqual([expect.objectContaining({ text, octets: hex })])
  })

  it('leaves what is one alone, also with zeros after its end', async () => {
    const { smsc, port } = await centre()
    const { ears } = await gatewayTo(port)
    for (const [coding, hex] of [
      [3, 'e974e90000'],
      [8, '00e900740069'],
      [0xe0, '00e9'],
    ] as const)
      await smsc.say(said(coding, hex))
    expect(ears.heards.map(({ text, octets }) => [text, octets])).toEqual([
      ['été', undefined],
      ['éti', undefined],
      ['é', undefined],
    ])
  })
})

describe('a bind that is refused', () => {
  it('is told once, before any message fails, and so is that it was accepted after all', async () => {
    const { smsc, port } = await centre()
    const accept = smsc.onBind
    smsc.onBind = (session, pdu) => session.send(pdu.response({ command_status: 0x0e })) // ESME_RINVPASWD
    const told: unknown[] = []
    const { gateway } = await gatewayTo(port, {}, told)
    expect(gateway.health!()).toMatchObject({ ok: false, code: 'smpp-0x0e' })
    smsc.onBind = accept
    await vi.waitFor(() => expect(gateway.health!()).toEqual({ ok: true }), SOON)
    expect(told).toEqual([
      ['gateway-down', 'smpp-0x0e'],
      ['gateway-up', undefined],
    ])
  })
})
