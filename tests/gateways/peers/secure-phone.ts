import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises'
import net from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { TEST_CERTIFICATE, TEST_KEY } from '../certificate.ts'
import { writeWave } from '../../../src/adapters/gateways/speech/wave.ts'
import { freePort, Program } from './programs.ts'

/**
 * A telephone that speaks TLS and SRTP by itself: baresip, which picks up at once, writes down what it hears and
 * presses keys when it is told to. It knows nothing of ours but its number.
 */
export class SecurePhone {
  /** Where it takes calls over TLS. */
  readonly port: number
  readonly mediaPort: number
  readonly #folder: string
  readonly #controlPort: number
  readonly #program: Program

  private constructor(folder: string, ports: { sip: number; media: number; control: number }, program: Program) {
    this.#folder = folder
    // The engine's own convention: TLS at the port after the one for datagrams.
    this.port = ports.sip + 1
    this.mediaPort = ports.media
    this.#controlPort = ports.control
    this.#program = program
  }

  /** @param sound `srtp-mand`: nothing but SRTP; `none`: in the clear */
  static async start(number: string, mediaPort: number, sound: 'srtp-mand' | 'none'): Promise<SecurePhone> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-secure-phone-'))
    const ports = { sip: await freePort(), media: mediaPort, control: await freePort() }
    await writeFile(join(folder, 'phone.pem'), TEST_KEY + TEST_CERTIFICATE)
    await writeWave(join(folder, 'silence.wav'), [], 100)
    const lines = [
      `sip_listen 127.0.0.1:${ports.sip}`,
      `sip_certificate ${join(folder, 'phone.pem')}`,
      'net_interface 127.0.0.1',
      `audio_source aufile,${join(folder, 'silence.wav')}`,
      ...['audio_player none,none', 'audio_alert none,none', 'audio_txmode poll', 'jitter_buffer_delay 0-0'],
      ...['ausrc_srate 8000', 'auplay_srate 8000', 'ausrc_channels 1', 'auplay_channels 1'],
      // One pair and no more: from a wider range it draws a port by lot, and nothing is heard at this one.
      `rtp_ports ${mediaPort}-${mediaPort + 1}`,
      'module_path /usr/lib/baresip/modules',
      ...['g711', 'aufile', 'srtp', 'sndfile'].map((name) => `module ${name}.so`),
      `snd_path ${folder}`,
      'module_tmp account.so',
      ...['module_app menu.so', 'module_app ctrl_tcp.so', `ctrl_tcp_listen 127.0.0.1:${ports.control}`],
    ]
    const ways = `regint=0;answermode=auto;audio_codecs=PCMU/8000/1${sound === 'none' ? '' : `;mediaenc=${sound}`}`
    await writeFile(join(folder, 'config'), `${lines.join('\n')}\n`)
    await writeFile(join(folder, 'accounts'), `<sip:${number}@127.0.0.1:${ports.sip + 1};transport=tls>;${ways}\n`)
    await writeFile(join(folder, 'contacts'), '')
    const program = new Program('baresip', ['-4', '-v', '-f', folder, '-t', '120'], {}, folder)
    await vi.waitUntil(() => program.lines.some((line) => line.includes('baresip is ready')), SOON)
    return new SecurePhone(folder, ports, program)
  }

  get lines(): string[] {
    return this.#program.lines
  }

  /** Presses a key, as RFC 4733 has it. */
  async press(key: string): Promise<void> {
    const order = JSON.stringify({ command: 'sndcode', params: key, token: 'key' })
    const socket = net.connect(this.#controlPort, '127.0.0.1')
    socket.write(`${order.length}:${order},`)
    await new Promise((done) => socket.once('data', done))
    socket.destroy()
  }

  /** What it heard, decrypted and decoded: 16-bit samples. Written down when the call is over. */
  async heard(): Promise<Buffer> {
    const file = (await readdir(this.#folder)).find((name) => name.endsWith('-dec.wav'))
    return (await readFile(join(this.#folder, file!))).subarray(44)
  }

  async close(): Promise<void> {
    await this.#program.stop()
    await rm(this.#folder, { recursive: true })
  }
}
