import { spawnSync } from 'node:child_process'
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { freePort, freeUdpPort, present, Program } from './programs.ts'

/**
 * SIPp as the phone that is called: an independent SIP stack, told in scenarios how to behave. Its exit code says
 * whether every message came as the scenario expects. Sending recorded keys takes raw sockets, so it needs root.
 */
export const sippPresent = () =>
  process.getuid?.() === 0 &&
  starts('sipp', '-v') &&
  starts('baresip', '-h') &&
  present('espeak-ng', ['--version']) &&
  present('sox', ['--version'])

/** These end with a code other than 0 even when they only say who they are. */
function starts(program: string, option: string): boolean {
  const found = spawnSync(program, [option], { stdio: 'ignore' }).error === undefined
  if (!found && process.env.CI) throw new Error(`${program} is missing: install the packages that .ci/run names`)
  return found
}

export const HEADERS =
  '[last_Via:]\n[last_From:]\n[last_To:];tag=[pid]phone[call_number]\n[last_Call-ID:]\n[last_CSeq:]'
const CONTACT = 'Contact: <sip:[local_ip]:[local_port];transport=[transport]>'
export const SDP = [
  'v=0',
  'o=phone 1 1 IN IP[local_ip_type] [local_ip]',
  's=-',
  'c=IN IP[media_ip_type] [media_ip]',
  't=0 0',
  'm=audio [media_port] RTP/AVP 0 101',
  'a=rtpmap:0 PCMU/8000',
  'a=rtpmap:101 telephone-event/8000',
  'a=fmtp:101 0-15',
].join('\n')

export const send = (message: string, attributes = '') => `<send${attributes}><![CDATA[\n${message}\n\n]]></send>`
const plain = (status: string) => `SIP/2.0 ${status}\n${HEADERS}\n${CONTACT}\nContent-Length: 0`
export const capture = (header: string, name: string) =>
  `<ereg regexp=".*" search_in="hdr" header="${header}:" assign_to="${name}"/>`

export const INVITE = `<recv request="INVITE"><action>
<ereg regexp="sip:[+]?([0-9]+)@" search_in="hdr" header="To:" assign_to="whole,number"/>${capture('CSeq', 'cseq')}
</action></recv>`
export const RING = send(plain('180 Ringing'))
export const pause = (ms: number) => `<pause milliseconds="${ms}"/>`
export const press = (key: string) =>
  `<nop><action><exec play_pcap_audio="/usr/share/sip-tester/dtmf_2833_${key}.pcap"/></action></nop>`
/** Headerless µ-law. */
export const sound = (file: string) => `<nop><action><exec rtp_stream="${file},1,0,PCMU/8000"/></action></nop>`
export const note = (words: string) => `<nop><action><log message="${words}"/></action></nop>`
/** @param sdp what it says of sound */
export const pickUp = (sdp: string) =>
  [
    send(
      `SIP/2.0 200 OK\n${HEADERS}\n${CONTACT}\nContent-Type: application/sdp\nContent-Length: [len]\n\n${sdp}`,
      ' retrans="500"',
    ),
    `<recv request="ACK"><action>${capture('From', 'from')}${capture('To', 'to')}</action></recv>`,
    note('taken [$number]'),
  ].join('\n')
export const PICK_UP = pickUp(SDP)
export const TILL_BYE = `<recv request="BYE" timeout="60000"></recv>\n${send(plain('200 OK'))}`
export const refuse = (status: string) => `${send(plain(status), ' retrans="500"')}\n<recv request="ACK"></recv>`
/** Nobody picks up: the caller takes it back. */
export const TILL_CANCEL = [
  '<recv request="CANCEL" timeout="40000"></recv>',
  send(plain('200 OK')),
  send(
    `SIP/2.0 487 Request Terminated\n${HEADERS.replace('[last_CSeq:]', 'CSeq:[$cseq]')}\nContent-Length: 0`,
    ' retrans="500"',
  ),
  '<recv request="ACK"></recv>',
].join('\n')
export const HANG_UP = [
  send(
    [
      'BYE sip:caller@[remote_ip]:[remote_port] SIP/2.0',
      'Via: SIP/2.0/[transport] [local_ip]:[local_port];branch=[branch]',
      'Max-Forwards: 70',
      'From:[$to]',
      'To:[$from]',
      'Call-ID: [call_id]',
      'CSeq: 7 BYE',
      'Content-Length: 0',
    ].join('\n'),
    ' retrans="500"',
  ),
  '<recv response="200"></recv>',
].join('\n')

/** How a phone is reached: IPv4 unless said, and by datagrams. */
export interface Way {
  transport?: 'tcp'
  host?: '::1'
}

/** @throws while nobody listens at this port (proc(5), /proc/net/udp and its like) */
async function listens(
  port: number,
  { transport = 'udp', host }: { transport?: string; host?: string },
): Promise<void> {
  const [table, ip] = host ? [`${transport}6`, '00000000000000000000000001000000'] : [transport, '0100007F']
  const address = `${ip}:${port.toString(16).toUpperCase().padStart(4, '0')}`
  const sockets = await readFile(`/proc/net/${table}`, 'utf8')
  if (!sockets.includes(address)) throw new Error(`nobody at ${port} yet`)
}

export class Phone {
  readonly port: number
  readonly mediaPort: number
  readonly #folder: string
  readonly #sipp: Program

  private constructor(folder: string, port: number, mediaPort: number, sipp: Program) {
    this.#folder = folder
    this.port = port
    this.mediaPort = mediaPort
    this.#sipp = sipp
  }

  /** @param calls after so many it ends; its exit code is 0 when each went as the steps say. */
  static async start(steps: string[], mediaPort: number, calls?: number, way: Way = {}): Promise<Phone> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-sipp-'))
    const all = steps.join('\n')
    const names = [...all.matchAll(/assign_to="([^"]+)"/g)].flatMap(([, list]) => list!.split(','))
    // SIPp refuses variables that nobody reads.
    const reference = `<Reference variables="${[...new Set(names)].join(',')}"/>`
    await writeFile(
      join(folder, 'phone.xml'),
      `<?xml version="1.0" encoding="ISO-8859-1"?>\n<scenario name="phone">\n${all}\n${reference}\n</scenario>\n`,
    )
    const port = way.transport ? await freePort() : await freeUdpPort()
    const host = way.host ?? '127.0.0.1'
    const args = [
      ...(way.transport ? ['-t', 't1'] : []),
      '-sf',
      'phone.xml',
      '-i',
      host,
      '-p',
      String(port),
      '-mi',
      host,
      '-mp',
      String(mediaPort),
      '-nostdin',
      '-trace_logs',
      '-log_file',
      'calls.log',
      '-trace_err',
      '-error_file',
      'errors.log',
      '-nd',
      ...(calls ? ['-m', String(calls)] : []),
    ]
    const sipp = new Program('sipp', args, {}, folder)
    await vi.waitFor(() => listens(port, way), SOON)
    return new Phone(folder, port, mediaPort, sipp)
  }

  /** What the scenario noted, a line each. */
  async notes(): Promise<string[]> {
    const log = await readFile(join(this.#folder, 'calls.log'), 'utf8').catch(() => '')
    return log.split('\n').filter((line) => line !== '')
  }

  /** Waits until all calls are over. */
  ended(): Promise<number | null> {
    return this.#sipp.ended()
  }

  get lines(): string[] {
    return this.#sipp.lines
  }

  async close(): Promise<void> {
    await this.#sipp.stop()
    await rm(this.#folder, { recursive: true })
  }
}
