import { execFile } from 'node:child_process'
import { once } from 'node:events'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import net, { type AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { present } from './programs.ts'

export const tsharkPresent = () => present('tshark', ['--version']) && present('text2pcap', ['--version'])

const run = promisify(execFile)

/**
 * Stands between a gateway and its peer and writes down every octet, for tshark to judge. Needs no rights to capture.
 */
export class Tap {
  readonly port: number
  readonly #server: net.Server
  readonly #sockets = new Set<net.Socket>()
  #dump = ''

  private constructor(server: net.Server, peerPort: number) {
    this.#server = server
    this.port = (server.address() as AddressInfo).port
    server.on('connection', (socket) => {
      const peer = net.connect(peerPort, '127.0.0.1')
      this.#pass('O', socket, peer)
      this.#pass('I', peer, socket)
    })
  }

  static async before(peerPort: number): Promise<Tap> {
    const server = net.createServer().listen(0, '127.0.0.1')
    await once(server, 'listening')
    return new Tap(server, peerPort)
  }

  /**
   * What Wireshark's own SMPP dissector reads in the traffic so far: one row a frame that matches `filter`, with the
   * fields asked for; a field that occurs more than once is joined by commas.
   */
  async dissect(filter: string, ...fields: string[]): Promise<string[][]> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-tap-'))
    const [dump, capture] = [join(folder, 'octets.txt'), join(folder, 'octets.pcap')]
    await writeFile(dump, this.#dump)
    await run('text2pcap', ['-q', '-D', '-T', '40000,2775', dump, capture])
    const asked = fields.flatMap((field) => ['-e', field])
    const { stdout } = await run('tshark', [
      '-r',
      capture,
      '-d',
      'tcp.port==2775,smpp',
      '-Y',
      filter,
      '-T',
      'fields',
      '-E',
      'separator=|',
      ...asked,
    ])
    await rm(folder, { recursive: true })
    return stdout
      .split('\n')
      .filter((line) => line !== '')
      .map((line) => line.split('|'))
  }

  async close(): Promise<void> {
    this.#server.close()
    for (const socket of this.#sockets) socket.destroy()
    await once(this.#server, 'close')
  }

  #pass(direction: 'I' | 'O', from: net.Socket, to: net.Socket): void {
    this.#sockets.add(from)
    from.on('data', (octets) => {
      this.#dump += `${direction}\n${hexDump(octets)}\n`
      to.write(octets)
    })
    from.on('close', () => to.destroy())
    from.on('error', () => to.destroy())
  }
}

function hexDump(octets: Buffer): string {
  const lines = []
  for (let at = 0; at < octets.length; at += 16) {
    const bytes = [...octets.subarray(at, at + 16)].map((octet) => octet.toString(16).padStart(2, '0'))
    lines.push(`${at.toString(16).padStart(6, '0')} ${bytes.join(' ')}`)
  }
  return lines.join('\n')
}
