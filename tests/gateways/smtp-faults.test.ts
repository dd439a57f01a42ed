import { once } from 'node:events'
import net, { type AddressInfo } from 'node:net'
import { describe, expect, it, onTestFinished } from 'vitest'
import { createSmtpGateway } from '../../src/adapters/gateways/smtp/smtp-gateway.ts'
import type { Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { letterTo } from './contract.ts'
import { freePort } from './peers/programs.ts'
import { mailPeerPresent, MailPeer } from './peers/mail-peer.ts'
import { recordingEars } from './recording-ears.ts'

// The peer is aiosmtpd; see mail.py for the addresses that tell it what to do. Reply codes: RFC 5321 §4.2.3.

let ports = 36_100

const described = (port: number, changes: object = {}) => ({
  ...{ kind: 'smtp', name: 'mail', host: '127.0.0.1', port, tls: { mode: 'none' }, connectMs: 2_000, answerMs: 1_000 },
  ...{ from: { address: 'visits@clinic.example' }, ...changes },
})

async function started(port: number, changes: object = {}) {
  const deps = { clock: { now: () => new Date() }, secret: () => 'secret' }
  const gateway = createSmtpGateway(described(port, changes), deps)
  await gateway.start(recordingEars())
  onTestFinished(() => gateway.stop())
  return gateway
}

const to = (address: string): Outgoing => ({ ...letterTo('+16135550142'), to: address })

/** What became of a letter, in a line. */
const words = (outcome: SendOutcome) => [outcome.kind, ...('code' in outcome ? [outcome.code] : [])].join(' ')

async function outcomeOf(env: Record<string, string>, changes: object = {}, address = 'ada@patients.example') {
  const peer = await MailPeer.start(ports++, env)
  onTestFinished(() => peer.stop())
  const tls = changes as { tls?: { caFile?: string } }
  const trusting = tls.tls?.caFile === 'peer' && { tls: { ...tls.tls, caFile: peer.caFile } }
  const gateway = await started(peer.port, { ...changes, ...trusting })
  return { outcome: words(await gateway.send(to(address))), peer, gateway }
}

describe.skipIf(!mailPeerPresent())('what becomes of a letter', () => {
  it('is told by the step at which the server refuses it, is silent or gone', async () => {
    const peer = await MailPeer.start(ports++)
    onTestFinished(() => peer.stop())
    const became: Record<string, string> = {}
    const expected = {
      'rcpt-550': 'rejected smtp-550',
      'rcpt-552': 'rejected smtp-552',
      'rcpt-553': 'rejected smtp-553',
      'rcpt-450': 'later smtp-450',
      'rcpt-452': 'later smtp-452',
      'rcpt-421': 'later smtp-421',
      'rcpt-530': 'misconfigured auth-needed',
      'rcpt-550.5.1.1': 'rejected smtp-550',
      'rcpt-550.5.1.8': 'misconfigured sender-refused',
      'rcpt-drop': 'later connection-lost',
      'rcpt-silent': 'later answer-timeout',
      'data-554': 'rejected smtp-554',
      'data-451': 'later smtp-451',
      'data-drop': 'later connection-lost',
      'data-silent': 'later answer-timeout',
      'middle-drop': 'unknown connection-lost',
      'middle-silent': 'unknown answer-timeout',
      'content-554': 'rejected smtp-554',
      'content-552': 'rejected smtp-552',
      'content-451': 'later smtp-451',
      'content-421': 'later smtp-421',
      'content-drop': 'unknown connection-lost',
      'content-silent': 'unknown answer-timeout',
      'content-slow': 'accepted',
      'content-twice': 'accepted',
    }
    const gateway = await started(peer.port)
    for (const plan of Object.keys(expected)) became[plan] = words(await gateway.send(to(`${plan}@patients.example`)))
    expect(became).toEqual(expected)
    // What was rejected or put off was not taken; the rest may have been.
    const taken = peer.taken().map((letter) => letter.to[0]!.split('@')[0])
    expect(taken).toEqual(['content-drop', 'content-silent', 'content-slow', 'content-twice'])
  })

  it('is the same where commands go out together', async () => {
    const peer = await MailPeer.start(ports++, { ADD: 'PIPELINING' })
    onTestFinished(() => peer.stop())
    const gateway = await started(peer.port)
    const became: string[] = []
    for (const plan of ['ada', 'rcpt-550', 'rcpt-450', 'data-554', 'middle-drop', 'content-451', 'content-drop'])
      became.push(words(await gateway.send(to(`${plan}@patients.example`))))
    expect(became).toEqual([
      ...['accepted', 'rejected smtp-550', 'later smtp-450', 'rejected smtp-554', 'unknown connection-lost'],
      ...['later smtp-451', 'unknown connection-lost'],
    ])
  })

  it.each([
    ['mail-550', 'misconfigured sender-refused'],
    ['mail-553', 'misconfigured sender-refused'],
    ['mail-530', 'misconfigured auth-needed'],
    ['mail-451', 'later smtp-451'],
    ['mail-drop', 'later connection-lost'],
    ['mail-silent', 'later answer-timeout'],
  ])('as the server takes the sender %s: %s', async (sender, expected) => {
    const { outcome } = await outcomeOf({}, { from: { address: `${sender}@clinic.example` } })
    expect(outcome).toBe(expected)
  })

  it.each([
    ['554 No service', 'later smtp-554'],
    ['421 Too many connections', 'later smtp-421'],
    ['HTTP/1.1 400 Bad Request', 'later not-smtp'],
    ['drop', 'later connection-lost'],
    ['silent', 'later greeting-timeout'],
  ])('when the greeting is %s: %s', async (greeting, expected) => {
    const { outcome, gateway } = await outcomeOf({ GREETING: greeting })
    expect(outcome).toBe(expected)
    expect(gateway.health!().ok).toBe(expected.includes('smtp-'))
  })

  it('when nobody listens, or the address is one that no gateway has', async () => {
    expect(words(await (await started(await freePort())).send(to('ada@patients.example')))).toBe('later econnrefused')
    const metadata = await started(25, { host: '169.254.169.254' }) // RFC 3927
    expect(words(await metadata.send(to('ada@patients.example')))).toBe('misconfigured egress_refused')
  })

  const auth = { user: 'clinic', password: 'env:MAIL' }
  const secure = (mode: string, more: object = { caFile: 'peer' }) => ({ tls: { mode, ...more } })
  it.each([
    ['the password is right', { LOGIN: 'clinic:secret' }, { auth }, 'accepted'],
    ['the password is wrong', { LOGIN: 'clinic:other' }, { auth }, 'misconfigured auth-refused'],
    ['nobody can sign in', { HIDE: 'AUTH' }, { auth }, 'misconfigured auth-none'],
    ['one must sign in', { LOGIN: 'clinic:secret' }, {}, 'misconfigured auth-needed'],
    ['STARTTLS is wanted and there', { TLS: 'starttls' }, secure('starttls'), 'accepted'],
    // It answers 454, TLS not available due to temporary reason (RFC 3207 §4).
    ['STARTTLS is wanted and not there', {}, { auth, ...secure('starttls') }, 'later no-starttls'],
    ['STARTTLS is there and hidden', { TLS: 'starttls', HIDE: 'STARTTLS' }, secure('starttls'), 'accepted'],
    ['the authority is unknown', { TLS: 'starttls' }, secure('starttls', {}), 'misconfigured tls-untrusted'],
    ['it is unknown from the beginning', { TLS: 'implicit' }, secure('implicit', {}), 'misconfigured tls-untrusted'],
    [
      'the certificate has another name',
      { TLS: 'starttls' },
      secure('starttls', { caFile: 'peer', serverName: 'other.example' }),
      'misconfigured tls-name',
    ],
    [
      'it has another name from the beginning',
      { TLS: 'implicit' },
      secure('implicit', { caFile: 'peer', serverName: 'other.example' }),
      'misconfigured tls-name',
    ],
    ['TLS is spoken by us alone', {}, secure('implicit'), 'misconfigured tls-none'],
    ['TLS is spoken by the server alone', { TLS: 'implicit' }, {}, 'later greeting-timeout'],
  ])('when %s', async (_, env, changes, expected) => {
    const { outcome, peer } = await outcomeOf(env, changes)
    expect(outcome).toBe(expected)
    expect(peer.taken()).toHaveLength(expected === 'accepted' ? 1 : 0)
    // Nothing secret was said before it stood.
    if (/tls|none/.test(expected)) expect(peer.events('login')).toEqual([])
  })

  it('is that of one letter at a time, where one connection is all that the server has', async () => {
    const peer = await MailPeer.start(ports++)
    onTestFinished(() => peer.stop())
    const gateway = await started(peer.port, { maxConnections: 1 })
    const turn = gateway.turnAtOnce!('email')
    expect(gateway.turnAtOnce!('email')).toBeUndefined()
    expect(words(await gateway.send(to('ada@patients.example')))).toBe('throttled no-turn')
    expect(words(await gateway.send(to('ada@patients.example'), turn))).toBe('accepted')
    expect(gateway.turnAtOnce!('email')).toBeDefined()
  })

  it('is never told to another than the one address', async () => {
    let connected = 0
    const sink = net.createServer((socket) => void (connected++, socket.destroy())).listen(0, '127.0.0.1')
    onTestFinished(() => void sink.close())
    await once(sink, 'listening')
    const gateway = await started((sink.address() as AddressInfo).port, { allow: ['patients.example'] })
    const wrong = [
      ...['', 'ada', '@patients.example', 'ada@', 'ada@patients', 'a b@patients.example', ' ada@patients.example'],
      ...['ada@patients.example,eve@patients.example', 'ada@patients.example;eve@patients.example'],
      ...['Ada <ada@patients.example>', '<ada@patients.example>', '"a\\"@x.example, "@patients.example'],
      ...['ada@patients.example\r\nRCPT TO:<eve@patients.example>', 'ada@patients.example\n', 'ada\0@patients.example'],
      ...['eve@x.example@patients.example', 'a..b@patients.example', '.a@patients.example', 'ада@patients.example'],
      ...[`${'a'.repeat(65)}@patients.example`, `a@${'b'.repeat(60)}.${'c.'.repeat(100)}example`],
    ]
    for (const address of wrong) expect([address, words(await gateway.send(to(address)))]).toEqual([address, BAD])
    for (const address of ['ada@patients.example.evil.example', 'ada@other.example'])
      expect(words(await gateway.send(to(address)))).toBe('rejected not-allowed')
    expect(connected).toBe(0)
  })
})

const BAD = 'rejected bad-address'
