import { once } from 'node:events'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import net, { type AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import tls from 'node:tls'
import { describe, expect, it, onTestFinished } from 'vitest'
import { checkGateway } from '../../src/adapters/gateways/check-gateway.ts'
import { createPocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import type { NetworkPlan } from '../../src/adapters/gateways/pocket/network-plan.ts'
import { outcomeWords } from '../../src/flows/messages/test-message.ts'
import { TEST_CERTIFICATE, TEST_KEY } from './certificate.ts'
import { FATES } from './fates.ts'
import { freePort, Program } from './peers/programs.ts'
import { INVITE, Phone, refuse, sippPresent } from './peers/sipp.ts'
import { TestSmsc } from './peers/test-smsc.ts'
import { providerConfig, TestProvider } from './peers/test-provider.ts'

async function check(plan: NetworkPlan) {
  const after = (ms: number, work: () => Promise<void>) => void setTimeout(() => void work(), ms)
  const pocket = createPocketGateway({
    clock: { now: () => new Date() },
    random: Math.random,
    after,
    receiptDelayMs: 10,
  })
  pocket.behave(FATES.accept, plan)
  const steps: Record<string, string> = {}
  const options = {
    to: FATES.accept,
    text: 'Visit €',
    waitMs: 150,
    id: 'check-1',
    tell: (step: string, says: string) => void (steps[step] = says),
  }
  return { well: await checkGateway(pocket, options), steps }
}

describe('the check of a gateway', () => {
  it('is passed when the message was delivered, and names every step', async () => {
    const { well, steps } = await check({})
    expect(well).toBe(true)
    expect(Object.keys(steps)).toEqual(['description', 'start', 'message', 'send', 'receipt', 'stop'])
    expect(steps.message).toBe('7 characters, GSM-7, 1 segment')
    expect(steps.receipt).toMatch(/^delivered after/)
  })

  it.each([
    [{ answer: 'misconfigured' }, 'send', /refuses who we are/],
    [{ answer: 'rejected' }, 'send', /refuses this message for good/],
    [{ answer: 'unknown' }, 'send', /may arrive all the same/],
    [{ receipts: 0 }, 'receipt', /none came/],
    [{ fate: 'undelivered' }, 'receipt', /^undelivered .*no-answer/],
  ] satisfies [NetworkPlan, string, RegExp][])(
    'is failed, and says why, when the peer behaves like %j',
    async (plan, step, says) => {
      const { well, steps } = await check(plan)
      expect(well).toBe(false)
      expect(steps[step]).toMatch(says)
    },
  )
})

describe('daysix gateway-check', () => {
  it('sends one message as described in a folder, and takes the receipt that is called back', async () => {
    const provider = new TestProvider()
    const [port, listenPort] = [await provider.listen(), await freePort()]
    provider.hooks = `http://127.0.0.1:${listenPort}/gateways/provider`
    onTestFinished(() => provider.close())
    const folder = mkdtempSync(join(tmpdir(), 'daysix-check-'))
    onTestFinished(() => rmSync(folder, { recursive: true }))
    writeFileSync(join(folder, 'broken.yaml'), 'kind: [')
    writeFileSync(join(folder, 'provider.json'), JSON.stringify(providerConfig(port)))
    const command = (...args: string[]) => {
      const daysix = new URL('../../src/cli/daysix.mjs', import.meta.url).pathname
      return new Program(process.execPath, [daysix, 'gateway-check', ...args, '--gateways', folder], {
        SHARED: 'shared',
      })
    }
    const good = command('provider', '--to', '+1 613 555-0142', '--listen', String(listenPort), '--wait', '10')
    expect(await good.ended()).toBe(0)
    expect(good.lines.find((line) => line.startsWith('receipt'))).toMatch(/delivered/)
    expect(provider.taken.map((order) => order.to)).toEqual([FATES.accept])
    const stranger = command('nobody', '--to', FATES.accept)
    expect(await stranger.ended()).toBe(2)
    expect(stranger.lines[0]).toMatch(/^refused/)
  })
})

describe('what gateway-check says of a fault', () => {
  /** Runs the command on a folder of files, and gives what it printed. */
  async function printed(files: Record<string, string | object>, ...args: string[]) {
    const folder = mkdtempSync(join(tmpdir(), 'daysix-check-'))
    onTestFinished(() => rmSync(folder, { recursive: true }))
    for (const [file, content] of Object.entries(files))
      writeFileSync(join(folder, file), typeof content === 'string' ? content : JSON.stringify(content))
    const daysix = new URL('../../src/cli/daysix.mjs', import.meta.url).pathname
    const all = [daysix, 'gateway-check', 'k', '--to', FATES.accept, '--gateways', folder, ...args]
    const run = new Program(process.execPath, all, { SMSC: 'secret', SHARED: 'shared' })
    const code = await run.ended()
    return { code, text: run.lines.join('\n') }
  }
  const smpp = (changes: object) => ({
    ...{ kind: 'smpp', name: 'k', host: '127.0.0.1', systemId: 'daysix', password: 'env:SMSC' },
    ...changes,
  })
  const http = (changes: object) => ({ kind: 'http', name: 'k', ...changes })
  const GET = { method: 'GET', url: 'http://127.0.0.1:9/' }

  /** A centre that answers a bind when told to, or never. */
  async function centre(bindMs: number | null): Promise<number> {
    const smsc = new TestSmsc()
    smsc.onBind = (session, pdu) => {
      if (bindMs !== null) setTimeout(() => session.send(pdu.response({ system_id: 'TEST' })), bindMs)
    }
    onTestFinished(() => smsc.close())
    return smsc.listen()
  }

  it('waits for a bind as long as the description does', async () => {
    const port = await centre(3_000)
    const { code, text } = await printed({ 'k.json': smpp({ port, ids: { accept: 'hex' } }) }, '--wait', '5')
    expect(text).toMatch(/^receipt +delivered/m)
    expect(code).toBe(0)
  }, 30_000)

  it('tells a bind that is not answered from TLS that is spoken on one side only', async () => {
    const impatient = { connectMs: 500, answerMs: 500 }
    const silent = await printed({ 'k.json': smpp({ ...impatient, port: await centre(null) }) })
    expect(silent.text).toMatch(/nobody answers the bind.*\(bind-timeout\)/)
    const plain = await printed({ 'k.json': smpp({ ...impatient, port: await centre(0), tls: {} }) })
    expect(plain.text).toMatch(/TLS/)
    const secure = tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE }).listen(0, '127.0.0.1')
    onTestFinished(() => void secure.close())
    await once(secure, 'listening')
    const { port } = secure.address() as AddressInfo
    expect((await printed({ 'k.json': smpp({ ...impatient, port }) })).text).toMatch(/TLS/)
  }, 60_000)

  it.skipIf(!sippPresent())(
    'names what is wrong with the security of a trunk',
    async () => {
      const secure = tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE }).listen(0, '127.0.0.1')
      const plain = net.createServer((socket) => socket.on('data', () => socket.end('SIP/2.0 400 Bad\r\n\r\n')))
      plain.listen(0, '127.0.0.1')
      onTestFinished(() => void [secure.close(), plain.close()])
      await Promise.all([once(secure, 'listening'), once(plain, 'listening')])
      const phone = await Phone.start([INVITE, refuse('488 Not Acceptable Here')], 34_700, 1)
      onTestFinished(() => phone.close())
      const portOf = (server: net.Server) => (server.address() as AddressInfo).port
      const sip = (port: number, changes: object) => ({
        ...{ kind: 'sip', name: 'k', trunk: { host: '127.0.0.1', port }, localAddress: '127.0.0.1', user: 'clinic' },
        ...{ allow: ['+1613'], rtpPorts: { from: 34_710, to: 34_713 }, lines: 1, ...changes },
      })
      for (const [port, changes, says] of [
        [portOf(secure), { transport: 'tls' }, /no authority that is trusted.*tls\.caFile.*\(tls-untrusted\)/],
        [portOf(plain), { transport: 'tls' }, /does not speak TLS.*transport: tcp or udp.*\(tls-none\)/],
        [portOf(secure), { transport: 'tcp' }, /wants TLS \(transport: tls\).*\(trunk-lost\)/],
        [phone.port, {}, /set media: srtp and transport: tls.*\(media-refused\)/],
        [9, { media: 'srtp' }, /media: The keys of srtp travel in the signalling.*transport: tls/],
        [9, { tls: {} }, /tls: This is for transport: tls/],
        [9, { localAddress: '::1' }, /localAddress: .*both IPv4, or both IPv6/],
        [9, { transport: 'tls', tls: { caFile: '/nowhere.pem' } }, /cannot be read/],
      ] as const) {
        const { code, text } = await printed({ 'k.json': sip(port, changes) })
        expect(text).toMatch(says)
        expect(code).not.toBe(0)
      }
    },
    120_000,
  )

  it.each([
    [
      'broken YAML',
      { 'k.yaml': 'kind: http\nname: k\nrequest: [\n' },
      /k\.yaml, line \d+, column \d+: this is not valid YAML/,
    ],
    [
      'a name that is nearly one',
      { 'k.json': smpp({ systemID: 'x', systemId: undefined }) },
      /did you mean systemId\?/,
    ],
    [
      'a field that is missing',
      { 'k.json': smpp({ systemID: 'x', systemId: undefined }) },
      /systemId: This is missing/,
    ],
    ['a number out of bounds', { 'k.json': smpp({ window: 0 }) }, /k\.json: window: Write a number of at least 1\./],
    ['one of several words', { 'k.json': smpp({ bind: 'both' }) }, /bind: Write transceiver or pair\./],
    ['another type', { 'k.json': smpp({ host: 7 }) }, /host: Write a text\./],
    [
      'a colon in a user name',
      { 'k.json': http({ request: { ...GET, auth: { kind: 'basic', user: 'a:b', password: 'env:SMSC' } } }) },
      /request\.auth\.user|user name of kind basic cannot hold a colon/,
    ],
    [
      'a signature over what nobody knows',
      {
        'k.json': http({
          request: { ...GET, auth: { kind: 'hmac', secret: 'env:SMSC', signed: '{nonce}{body}', header: 'x-s' } },
        }),
      },
      /What can be signed is \{timestamp\}/,
    ],
    [
      'an address that leads nowhere',
      { 'k.json': http({ request: { ...GET, query: { u: '{receipt_url}' } } }) },
      /k\.json: \{receipt_url\} leads nowhere: describe receipts in this file/,
    ],
  ])(
    'names the mend: %s',
    async (_, files, says) => {
      const { code, text } = await printed(files)
      expect(text).toMatch(says)
      expect(code).toBe(2)
    },
    30_000,
  )

  it.each([
    [['--listen', '99999'], /--listen 99999: write a whole number from 1 to 65535/],
    [['--wait', 'abc'], /--wait abc: write a whole number/],
  ])('refuses %j in words', async (args, says) => {
    const { code, text } = await printed({ 'k.json': smpp({}) }, ...args)
    expect(text).toMatch(says)
    expect(code).toBe(2)
  })

  it('says that an address is forbidden', async () => {
    const request = { method: 'GET', url: 'http://169.254.169.254/' } // RFC 3927
    expect((await printed({ 'k.json': http({ request }) })).text).toMatch(
      /this address is never called.*egress_refused/,
    )
  })

  it('says that a busy telephone is no fault of the gateway', () => {
    expect(outcomeWords({ kind: 'later', code: 'busy' })).toMatch(/the gateway works/)
  })
})
