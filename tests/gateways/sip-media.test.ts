import { describe, expect, it } from 'vitest'
import { mediaFault } from '../../src/adapters/gateways/sip/media.ts'
import { createSipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { SipStream } from '../../src/adapters/gateways/sip/sip-stream.ts'
import type { Outgoing } from '../../src/flows/ports/gateway.ts'
import { call } from '../messages/voice/example-calls.ts'
import {
  HANG_UP,
  INVITE,
  pause,
  Phone,
  PICK_UP,
  pickUp,
  press,
  refuse,
  SDP,
  sippPresent,
  TILL_BYE,
} from './peers/sipp.ts'
import { recordingEars } from './recording-ears.ts'

const KEY = 'a=crypto:1 AES_CM_128_HMAC_SHA1_80 inline:WVNfX19zZW1jdGwgKCkgewkyMjA7fQp9CnVubGVz|2^20'
const sdp = (media: string, to = 'IN IP4 192.0.2.9', ...more: string[]) =>
  ['v=0', 'o=- 1 1 IN IP4 192.0.2.9', 's=-', `c=${to}`, 't=0 0', `m=audio ${media}`, ...more].join('\r\n')

describe('sound that cannot be', () => {
  // The key is the one of RFC 4568 §9.1; protocols are those of RFC 3551, 3711 and 5764.
  it.each([
    ['plain', sdp('40000 RTP/AVP 0 101'), undefined],
    ['plain', sdp('40000 RTP/AVP 8'), undefined],
    ['plain', sdp('40000 RTP/SAVP 0', undefined, KEY), 'encrypted'],
    ['plain', sdp('40000 UDP/TLS/RTP/SAVPF 0'), 'encrypted'],
    ['plain', sdp('40000 RTP/AVP 0', 'IN IP6 2001:db8::9'), 'ipv6'],
    ['plain', sdp('40000 RTP/AVP 0', 'IN IP6 2001:db8::9', 'c=IN IP4 192.0.2.9'), undefined],
    ['plain', sdp('40000 RTP/AVP 18'), 'codec'],
    ['plain', sdp('0 RTP/AVP 0'), 'none'],
    ['plain', 'v=0', 'none'],
    ['srtp', sdp('40000 RTP/SAVP 0', undefined, KEY), undefined],
    ['srtp', sdp('40000 RTP/AVP 0', undefined, KEY), 'plain'],
    ['srtp', sdp('40000 RTP/SAVP 0'), 'keys'],
    ['srtp', sdp('40000 RTP/SAVP 0', undefined, `${KEY} UNENCRYPTED_SRTP`), 'keys'],
    ['srtp', sdp('40000 RTP/SAVP 0', undefined, 'm=video 40002 RTP/SAVP 31', KEY), 'keys'],
  ] as const)('%s: %j is %s', (media, text, fault) => {
    expect(mediaFault(text, { media, family: 4 })).toBe(fault)
  })
})

describe('messages over a connection', () => {
  // RFC 3261 §18.3 and §7.3.3; RFC 5626 §3.5.1 for the line ends between.
  const one = 'SIP/2.0 200 OK\r\nl: 4\r\n\r\nbody'
  const two = 'BYE sip:a@b.example SIP/2.0\r\nContent-Length : 0\r\n\r\n'
  it.each([1, 7, 1000])('are the same in pieces of %i octets', (size) => {
    const octets = Buffer.from(`\r\n\r\n${one}${two}\r\n${one}`)
    const stream = new SipStream()
    const found: string[] = []
    for (let at = 0; at < octets.length; at += size)
      found.push(...stream.take(octets.subarray(at, at + size)).map(String))
    expect(found).toEqual([one, two, one])
  })

  it('end the connection where nobody can tell how long they are', () => {
    const twice = 'SIP/2.0 200 OK\r\nContent-Length: 4\r\nl: 0\r\n\r\nbody'
    expect(() => new SipStream().take(Buffer.from(twice))).toThrow()
    expect(() => new SipStream().take(Buffer.alloc(70_000, 'x'))).toThrow()
  })
})

describe.skipIf(!sippPresent())('a trunk, by SIPp,', () => {
  let line = 0
  async function story(steps: string[], host: '127.0.0.1' | '::1' = '127.0.0.1') {
    const media = 34_000 + 10 * line
    const phone = await Phone.start(steps, media, 1, host === '::1' ? { host } : {})
    const from = 34_400 + 4 * line++
    const gateway = createSipGateway(
      {
        ...{ kind: 'sip', name: 'calls', user: 'clinic', localAddress: host, allow: ['+1613'], lines: 1 },
        ...{ trunk: { host, port: phone.port }, rtpPorts: { from, to: from + 3 } },
      },
      { clock: { now: () => new Date() }, secret: () => undefined },
    )
    const ears = recordingEars()
    await gateway.start(ears)
    const outgoing: Outgoing = {
      ...{ id: 'm-1', channel: 'voice', to: '+16135550142', text: 'x', language: 'en', voice: call('prep') },
      notAfter: new Date(Date.now() + 3_600_000),
    }
    const outcome = await gateway.send(outgoing)
    const before = performance.now()
    await gateway.stop()
    const ms = performance.now() - before
    const exit = await phone.ended()
    await phone.close()
    return { outcome, exit, ms, ears }
  }

  it.each([
    ['SRTP only', SDP.replace('RTP/AVP', 'RTP/SAVP'), 'media-encrypted'],
    ['IPv6 only', SDP.replace('c=IN IP[media_ip_type] [media_ip]', 'c=IN IP6 ::1'), 'media-ipv6'],
    ['another codec only', SDP.replace('RTP/AVP 0 101', 'RTP/AVP 18 101'), 'media-codec'],
    ['no sound at all', SDP.replace('[media_port]', '0'), 'media-none'],
  ])('that answers with %s is hung up at once, in words', async (_, answer, code) => {
    const { outcome, exit, ms } = await story([INVITE, pickUp(answer), TILL_BYE])
    expect(outcome).toEqual({ kind: 'rejected', code })
    expect(exit).toBe(0) // its BYE came
    expect(ms).toBeLessThan(10_000)
  })

  it('that finds no way for the sound is for an operator to mend', async () => {
    const { outcome } = await story([INVITE, refuse('488 Not Acceptable Here')])
    expect(outcome).toEqual({ kind: 'misconfigured', code: 'media-refused' })
  })

  it('at an address of IPv6 is called, and its keys are heard', async () => {
    const keys = [pause(300), press('1'), pause(1500), press('1'), pause(1500), press('1'), pause(1000)]
    const { outcome, exit, ears } = await story([INVITE, PICK_UP, ...keys, HANG_UP], '::1')
    expect(outcome).toEqual({ kind: 'accepted' })
    expect(exit).toBe(0)
    expect(ears.answereds.map(({ pressed }) => pressed)).toEqual([{ meaning: 'confirm' }])
    expect(ears.receipts.map(({ state }) => state)).toEqual(['delivered'])
  })
})
