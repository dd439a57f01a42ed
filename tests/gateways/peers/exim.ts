import { spawnSync } from 'node:child_process'
import { chmodSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import net from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { TEST_CERTIFICATE, TEST_KEY } from '../certificate.ts'
import { PYTHON, type TakenLetter } from './mail-peer.ts'
import { present, Program } from './programs.ts'

/** Exim 4.96, as in Debian's exim4-daemon-light. It changes its account, so it needs root. */
export const eximPresent = () =>
  process.getuid?.() === 0 && present('exim4', ['-bV']) && present(PYTHON, ['-c', 'import email'])

/**
 * A whole mail server: what it takes for ada@patients.example lies in a Maildir. It knows STARTTLS at `port`, TLS from
 * the beginning at the next one, and no TLS at the one after that; clinic signs in with the password `secret`.
 */
export class Exim {
  readonly port: number
  readonly caFile: string
  readonly #home = mkdtempSync(join(tmpdir(), 'daysix-exim-'))
  readonly #program: Program

  constructor(port: number) {
    this.port = port
    this.caFile = join(this.#home, 'cert.pem')
    writeFileSync(this.caFile, TEST_CERTIFICATE)
    writeFileSync(join(this.#home, 'key.pem'), TEST_KEY)
    writeFileSync(join(this.#home, 'exim.conf'), settings(this.#home, port))
    chmodSync(this.#home, 0o755)
    for (const folder of ['box', 'spool', 'log']) {
      mkdirSync(join(this.#home, folder))
      spawnSync('chown', ['Debian-exim', join(this.#home, folder)])
    }
    this.#program = new Program('exim4', ['-C', join(this.#home, 'exim.conf'), '-bdf', '-q1h'])
  }

  static async start(port: number): Promise<Exim> {
    const exim = new Exim(port)
    await vi.waitUntil(() => answers(port), SOON)
    return exim
  }

  /** The letters that lie in the Maildir, oldest first, as Python's email package reads them. */
  letters(): Pick<TakenLetter, 'text' | 'type' | 'headers' | 'wire'>[] {
    const folder = join(this.#home, 'box/new')
    const { stdout, stderr } = spawnSync(PYTHON, ['-c', READ, folder], { encoding: 'utf8', maxBuffer: 1e8 })
    if (stderr) throw new Error(stderr)
    return JSON.parse(stdout) as ReturnType<Exim['letters']>
  }

  /** What it wrote of its work. */
  log(): string {
    const folder = join(this.#home, 'log')
    return readdirSync(folder)
      .map((file) => readFileSync(join(folder, file), 'utf8'))
      .join('')
  }

  async stop(): Promise<void> {
    await this.#program.stop()
    rmSync(this.#home, { recursive: true })
  }
}

const READ = `
import email, email.policy, json, sys
from email.header import decode_header, make_header
from pathlib import Path
folder = Path(sys.argv[1])
files = sorted(folder.iterdir(), key=lambda file: file.stat().st_mtime_ns) if folder.exists() else []
def read(file):
    letter = email.message_from_bytes(file.read_bytes(), policy=email.policy.default)
    # The parser of the newer policy leaves a blank between two encoded words of a name, against RFC 2047 6.2.
    plain = email.message_from_bytes(file.read_bytes())
    headers = [[name, str(make_header(decode_header(value.replace('\\n', ''))))] for name, value in plain.items()]
    return dict(text=letter.get_content(), type=letter.get_content_type(), headers=headers,
                wire=file.read_bytes().decode('ascii'))
print(json.dumps([read(file) for file in files]))
`

function answers(port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = net.connect(port, '127.0.0.1', () => (socket.destroy(), resolve(true)))
    socket.once('error', () => resolve(false))
  })
}

const settings = (home: string, port: number) => `
primary_hostname = mail.example
daemon_smtp_ports = ${port} : ${port + 1} : ${port + 2}
local_interfaces = 127.0.0.1
tls_on_connect_ports = ${port + 1}
tls_advertise_hosts = \${if eq{$received_port}{${port + 2}}{}{*}}
tls_certificate = ${home}/cert.pem
tls_privatekey = ${home}/key.pem
spool_directory = ${home}/spool
log_file_path = ${home}/log/%s
pid_file_path = ${home}/spool/exim.pid
keep_environment =
deliver_drop_privilege = true
host_lookup =
acl_smtp_rcpt = to
acl_smtp_data = accept
begin acl
to:
  deny message = relay not permitted
       !authenticated = *
  deny message = Unknown user
       !verify = recipient
  accept
begin routers
box:
  driver = accept
  domains = patients.example
  local_parts = ada
  transport = box
begin transports
box:
  driver = appendfile
  directory = ${home}/box
  maildir_format
begin authenticators
plain:
  driver = plaintext
  public_name = PLAIN
  server_prompts = :
  server_condition = \${if and{{eq{$auth2}{clinic}}{eq{$auth3}{secret}}}}
  server_advertise_condition = \${if def:tls_in_cipher}
`
