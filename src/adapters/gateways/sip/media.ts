/** What a gateway can take of an answer. */
export interface MediaWanted {
  media: 'plain' | 'srtp'
  family: 4 | 6
}

/**
 * The way in which sound cannot go. `encrypted`, `plain`, `keys`: the other side wants it encrypted, in the clear, or
 * by other keys than those that were offered; `ipv4`, `ipv6`: to an address that we have no way to; `codec`, `none`.
 */
export type MediaFault = 'encrypted' | 'plain' | 'keys' | 'ipv4' | 'ipv6' | 'codec' | 'none'

/** PCMU and PCMA, RFC 3551 §6. */
const CODECS = ['0', '8']
/** As the engine offers it, and no parameter that weakens it or that it knows nothing of (RFC 4568 §6). */
const KEY = /^a=crypto:1 AES_CM_128_HMAC_SHA1_80 inline:[A-Za-z0-9+/]{40}(\|(2\^)?\d+)?$/

/**
 * Whether sound can go by what the other side answers (SDP, RFC 8866). The engine would take such an answer and be
 * silent to the end, or send in the clear what was to be encrypted.
 */
export function mediaFault(sdp: string, { media, family }: MediaWanted): MediaFault | undefined {
  const lines = sdp.split(/\r?\n/).map((line) => line.trim())
  const [session, audio] = sectionsOf(lines)
  const [, port, proto = '', ...formats] = audio[0]?.split(/ +/) ?? []
  if (port === undefined || /^0(\/|$)/.test(port)) return 'none'
  const inTheClear = /^RTP\/AVPF?$/.test(proto)
  if (media === 'plain' && !inTheClear) return 'encrypted'
  if (media === 'srtp' && inTheClear) return 'plain'
  if (media === 'srtp' && !audio.some((line) => KEY.test(line))) return 'keys'
  const to = [...audio, ...session].find((line) => line.startsWith('c='))
  const version = /^c=IN IP([46]) /.exec(to ?? '')?.[1]
  if (Number(version) !== family) return version === '4' ? 'ipv4' : version === '6' ? 'ipv6' : 'none'
  return formats.some((format) => CODECS.includes(format)) ? undefined : 'codec'
}

/** What stands for the whole session, and what for its first sound. */
function sectionsOf(lines: string[]): [session: string[], audio: string[]] {
  const starts = lines.flatMap((line, at) => (line.startsWith('m=') ? [at] : []))
  const first = starts.find((at) => lines[at]!.startsWith('m=audio '))
  const end = starts.find((at) => first !== undefined && at > first)
  return [lines.slice(0, starts[0]), first === undefined ? [] : lines.slice(first, end)]
}
