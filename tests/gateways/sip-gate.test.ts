import dgram, { type Socket } from 'node:dgram'
import { once } from 'node:events'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Gate } from '../../src/adapters/gateways/sip/gate.ts'
import { SipMessage } from '../../src/adapters/gateways/sip/sip-message.ts'
import { outcomeOf } from '../../src/adapters/gateways/sip/call-outcome.ts'

const octets = (...lines: string[]) => Buffer.from(`${lines.join('\r\n')}\r\n\r\n`)
const read = (...lines: string[]) => SipMessage.read(octets(...lines))!

describe('a SIP message', () => {
  // RFC 3261 §7.3.1: values may stand in one header or in several, and lines may be folded.
  it('has the same values however they are spread over headers', () => {
    const one = read(
      'SIP/2.0 200 OK',
      'Route: <sip:alice@atlanta.example>, <sip:bob@biloxi.example>,',
      ' <sip:carol@chicago.example>',
    )
    const two = read(
      'SIP/2.0 200 OK',
      'Route: <sip:alice@atlanta.example>',
      'Subject: Lunch',
      'Route: <sip:bob@biloxi.example>, <sip:carol@chicago.example>',
    )
    for (const message of [one, two]) {
      expect([1, 2, 3, 4].map(() => message.shift('Route'))).toEqual([
        '<sip:alice@atlanta.example>',
        '<sip:bob@biloxi.example>',
        '<sip:carol@chicago.example>',
        undefined,
      ])
    }
  })

  // RFC 3261 §7.3.3 and §20.10: compact names, and a comma that belongs to a name.
  it('is read in its compact form, in any case', () => {
    const message = read(
      'SIP/2.0 302 Moved',
      'v: SIP/2.0/UDP first.example;branch=z9hG4bKa',
      'M: "Watson, A." <sip:w@bell.example>;q=0.7, <sip:x@bell.example>',
    )
    expect(message.first('Via')).toBe('SIP/2.0/UDP first.example;branch=z9hG4bKa')
    expect(message.first('Contact')).toBe('"Watson, A." <sip:w@bell.example>;q=0.7')
    message.drop('Contact')
    expect(message.octets().toString()).toBe(
      'SIP/2.0 302 Moved\r\nv: SIP/2.0/UDP first.example;branch=z9hG4bKa\r\n\r\n',
    )
  })

  it('keeps its body octet by octet', () => {
    const body = Buffer.from([0, 255, 13, 10, 13, 10, 128])
    const whole = Buffer.concat([octets('INFO sip:a@b.example SIP/2.0', 'To: <sip:ü@b.example>'), body])
    expect(SipMessage.read(whole)!.octets()).toEqual(whole)
  })

  it.each(['', '\r\n\r\n', 'GET / HTTP/1.1\r\n\r\n', 'INVITE sip:a@b.example SIP/2.0\r\nTo: x', 'SIP/2.0 abc\r\n\r\n'])(
    'is not %j',
    (text) => {
      expect(SipMessage.read(Buffer.from(text))).toBeUndefined()
    },
  )
})

describe('the way out of the house', () => {
  const NUMBER = '+16135550142'
  const PATIENT = `sip:${NUMBER}@127.0.0.1:5060`
  let [engine, trunk]: Socket[] = []
  let gate: Gate

  const socket = async () => {
    const bound = dgram.createSocket('udp4').bind(0, '127.0.0.1')
    await once(bound, 'listening')
    return bound
  }
  const next = async (at: Socket) => (await once(at, 'message'))[0].toString() as string
  const send = (from: Socket, port: number, ...lines: string[]) => from.send(octets(...lines), port, '127.0.0.1')
  const hop = () => Number(gate.uri.split(':')[2])
  const request = (method: string, target = PATIENT, to = target) => [
    `${method} ${target} SIP/2.0`,
    'Via: SIP/2.0/UDP 127.0.0.1:9;branch=z9hG4bKengine;rport',
    `Route: <${gate.uri};lr>`,
    `To: <${to}>`,
    'From: <sip:clinic@127.0.0.1>;tag=1',
    'Call-ID: call-1',
    `CSeq: 1 ${method}`,
  ]
  /** The port that the trunk sees. */
  const sender = (message: string) => Number(/Via: SIP\/2\.0\/UDP 127\.0\.0\.1:(\d+);rport/.exec(message)![1])

  beforeEach(async () => {
    ;[engine, trunk] = [await socket(), await socket()]
    gate = await Gate.open({
      ...{ localAddress: '127.0.0.1', transport: 'udp', media: 'plain' },
      trunk: { host: '127.0.0.1', port: trunk.address().port },
    })
    gate.allow(PATIENT)
  })
  afterEach(() => {
    engine!.close()
    trunk!.close()
    gate.close()
  })

  async function invited(): Promise<string> {
    const arriving = next(trunk!)
    send(engine!, hop(), ...request('INVITE'))
    return arriving
  }

  // RFC 3261 §16.11, §17.1.1.3 and §9.1: what belongs to a request must carry its branch.
  it('marks a request, the same one sent again, and what takes it back, with one branch', async () => {
    const vias: string[] = []
    for (const method of ['INVITE', 'INVITE', 'ACK', 'CANCEL']) {
      const arriving = next(trunk!)
      send(engine!, hop(), ...request(method))
      const message = await arriving
      expect(message).not.toContain('Route:')
      vias.push(/Via: .*/.exec(message)![0])
    }
    expect(new Set(vias).size).toBe(1)
    expect(vias[0]).toMatch(/;branch=z9hG4bK\S+$/)
  })

  it.each([
    ['another number', 'sip:+19005550142@127.0.0.1:5060', PATIENT],
    ['another addressee', PATIENT, 'sip:+19005550142@127.0.0.1:5060'],
    ['the same number elsewhere', `sip:${NUMBER}@127.0.0.2:5060`, PATIENT],
    ['the same number with more to it', `${PATIENT};user=phone`, PATIENT],
  ])('is closed to a call of %s, which is refused', async (_, target, to) => {
    const answer = next(engine!)
    send(engine!, hop(), ...request('INVITE', target, to))
    expect(await answer).toMatch(/^SIP\/2\.0 603 /)
    expect(outcomeOf(gate.redirect!)).toEqual({ kind: 'rejected', code: 'redirected' })
    expect(await invited()).toContain(`INVITE ${PATIENT} `) // nothing had come before it
  })

  it('brings an answer in that is written the short way, and a redirection as a refusal without a target', async () => {
    const port = sender(await invited())
    for (const [told, heard] of [
      ['180 Ringing', '180 Ringing'],
      ['302 Moved', '603 Redirected'],
    ] as const) {
      const arriving = next(engine!)
      const vias = `v: SIP/2.0/UDP 127.0.0.1:${port};branch=z9hG4bKgate-engine, SIP/2.0/UDP 127.0.0.1:9;branch=z9hG4bKengine;rport`
      send(trunk!, port, `SIP/2.0 ${told}`, vias, 'i: call-1', 'm: <sip:+19005550142@127.0.0.1>', 'CSeq: 1 INVITE')
      const message = await arriving
      expect(message.split('\r\n').slice(0, 2)).toEqual([
        `SIP/2.0 ${heard}`,
        'Via: SIP/2.0/UDP 127.0.0.1:9;branch=z9hG4bKengine;rport',
      ])
      expect(message.includes('+1900')).toBe(told.startsWith('180'))
    }
    expect(gate.redirect).toBe('302')
  })

  it('takes in what belongs to the call, answers where it came from, and nothing else', async () => {
    const port = sender(await invited())
    const ask = (method: string, callId: string, to: string) =>
      send(
        trunk!,
        port,
        `${method} sip:clinic@127.0.0.1 SIP/2.0`,
        'Via: SIP/2.0/UDP 192.0.2.1;branch=z9hG4bKtrunk',
        `t: ${to}`,
        `i: ${callId}`,
        `CSeq: 2 ${method}`,
      )
    const arriving = next(engine!)
    ask('INVITE', 'call-2', '<sip:clinic@127.0.0.1>;tag=1')
    ask('INVITE', 'call-1', '<sip:clinic@127.0.0.1>')
    ask('BYE', 'call-1', '<sip:clinic@127.0.0.1>;tag=1')
    const bye = await arriving
    expect(bye).toMatch(/^BYE /)
    const answered = next(trunk!)
    send(engine!, hop(), 'SIP/2.0 200 OK', ...bye.split('\r\n').filter((line) => /^(Via|CSeq)/.test(line)))
    expect(await answered).toMatch(/^SIP\/2\.0 200 OK\r\nVia: SIP\/2\.0\/UDP 192\.0\.2\.1;branch=z9hG4bKtrunk\r\n/)
  })

  const audio = (protocol: string) => ['v=0', 'c=IN IP4 127.0.0.1', `m=audio 40000 ${protocol} 0`].join('\r\n')
  const withSound = (protocol: string, ...lines: string[]) =>
    Buffer.concat([octets(...lines, 'Content-Type: application/sdp'), Buffer.from(audio(protocol))])

  it('takes nobody of this machine for its engine who does not know where exactly it is', async () => {
    const stranger = await socket()
    const blind = request('INVITE').map((line) => line.replace(/^Route: <sip:[^@]+/, 'Route: <sip:guess'))
    const heard: string[] = []
    trunk!.on('message', (message) => heard.push(message.toString('latin1')))
    send(stranger, hop(), ...blind)
    send(stranger, hop(), ...request('INVITE').filter((line) => !line.startsWith('Route')))
    await invited()
    // Once the engine is known, nobody else is heard, whatever they know.
    send(stranger, hop(), ...request('CANCEL'))
    const arriving = next(trunk!)
    send(engine!, hop(), ...request('ACK'))
    expect(await arriving).toMatch(/^ACK /)
    expect(heard.map((message) => message.split(' ')[0])).toEqual(['INVITE', 'ACK'])
    stranger.close()
  })

  // RFC 3261 §16.6 and §12.2.1.1: by its Record-Route it stays on the way, and its own entry does not go on.
  it('has what follows in the call come by, tells no address of the engine, and shows its own to nobody', async () => {
    const invite = invited()
    const port = sender(await invite)
    expect(await invite).not.toContain(gate.uri)
    const answer = next(engine!)
    const via = `Via: SIP/2.0/UDP 127.0.0.1:${port};branch=z9hG4bKgate-engine, SIP/2.0/UDP 127.0.0.1:9;branch=z9hG4bKengine`
    const ends = [`To: <${PATIENT}>;tag=2`, 'From: <sip:clinic@127.0.0.1>;tag=1', 'Call-ID: call-1']
    const target = `sip:line@127.0.0.1:${trunk!.address().port}`
    trunk!.send(
      withSound('RTP/AVP', 'SIP/2.0 200 OK', via, ...ends, 'CSeq: 1 INVITE', `Contact: <${target}>`),
      port,
      '127.0.0.1',
    )
    expect(await answer).toContain(`\r\nRecord-Route: <${gate.uri};lr>\r\n`)
    for (const method of ['ACK', 'BYE']) {
      const arriving = next(trunk!)
      const contact = 'Contact: <sip:clinic-0x1@127.0.0.1:9>'
      send(
        engine!,
        hop(),
        ...request(method, target, PATIENT).map((line) => (/^To/.test(line) ? ends[0]! : line)),
        contact,
      )
      const message = await arriving
      expect(message).toMatch(new RegExp(`^${method} ${target} `))
      expect(message).toContain(`Contact: <sip:clinic-0x1@127.0.0.1:${port}>`)
      expect(message).not.toContain(gate.uri)
    }
  })

  it('refuses another way of sound in the call, and takes it out of an answer, which it tells', async () => {
    const told: string[] = []
    gate.allow(PATIENT, (cause) => told.push(cause))
    const port = sender(await invited())
    const answer = next(engine!)
    const vias = `Via: SIP/2.0/UDP 127.0.0.1:${port};branch=z9hG4bKgate-engine, SIP/2.0/UDP 127.0.0.1:9;branch=z9hG4bKengine`
    trunk!.send(withSound('RTP/SAVP', 'SIP/2.0 183 Progress', vias, 'CSeq: 1 INVITE'), port, '127.0.0.1')
    expect(await answer).toMatch(/Content-Length: 0\r\n\r\n$/)
    expect(told).toEqual(['media-encrypted'])
    const refused = next(trunk!)
    const again = [
      'INVITE sip:clinic@127.0.0.1 SIP/2.0',
      'Via: SIP/2.0/UDP 127.0.0.1:9;branch=z9hG4bKtrunk',
      ...['To: <sip:clinic@127.0.0.1>;tag=1', 'Call-ID: call-1', 'CSeq: 2 INVITE'],
    ]
    trunk!.send(withSound('RTP/SAVP', ...again), port, '127.0.0.1')
    expect(await refused).toMatch(/^SIP\/2\.0 488 .*\r\n[^]*tag=1\r\n/)
  })
})
