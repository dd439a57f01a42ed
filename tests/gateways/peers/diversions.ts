import { HEADERS, INVITE, note, send } from './sipp.ts'

/** Ways in which whoever is called asks for another number. ELSEWHERE stands for the address of that one. */

/** A number that may not be called, reserved for fiction like all others. */
export const NUMBER_ELSEWHERE = '+19005550142'

/** The first contact alone, then all others in one header. */
function contacts(count: number): string {
  const all = Array.from({ length: count }, (_, n) => `<sip:ELSEWHERE>;q=${1 - n / 10}`)
  const lists = [all.slice(0, 1), all.slice(1)].filter((list) => list.length > 0)
  return lists.map((list) => `Contact: ${list.join(', ')}`).join('\n')
}

/** Sends the call elsewhere (RFC 3261 §21.3). */
export const forward = (status: string, count = 1) =>
  `${send(`SIP/2.0 ${status}\n${HEADERS}\n${contacts(count)}\nContent-Length: 0`, ' retrans="500"')}\n<recv request="ACK"></recv>`

const header = (name: string, variable: string, occurrence = 1) =>
  `<ereg regexp=".*" search_in="hdr" header="${name}:" occurrence="${occurrence}" assign_to="${variable}"/>`
const KNOWN = ['Via', 'Via', 'From', 'To', 'Contact']
  .map((name, n) => header(name, `known${n}`, n === 1 ? 2 : 1))
  .join('\n')

/** As INVITE, and notes all that somebody else must know to meddle with the call. */
export const WATCHED_INVITE = [
  INVITE.replace('</action>', `${KNOWN}</action>`),
  note('known|[$known0]|[$known1]|[$known2]|[$known3]|[$known4]|[call_id]|[$cseq]'),
].join('\n')

/** Asks for a transfer within the call (RFC 3515). */
export const TRANSFER = [
  send(
    [
      'REFER sip:caller@[remote_ip]:[remote_port] SIP/2.0',
      'Via: SIP/2.0/[transport] [local_ip]:[local_port];branch=[branch]',
      'Max-Forwards: 70',
      'From:[$to]',
      'To:[$from]',
      'Call-ID: [call_id]',
      'CSeq: 5 REFER',
      'Contact: <sip:[local_ip]:[local_port]>',
      'Refer-To: <sip:ELSEWHERE>',
      'Content-Length: 0',
    ].join('\n'),
  ),
  '<recv response="501"></recv>',
].join('\n')
