import { execFile, execFileSync } from 'node:child_process'
import { existsSync, readdirSync } from 'node:fs'
import { appendFile, chmod, chown, mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import pg from 'pg'
import { Room } from '../../infra/chaos/room.ts'
import { freePort } from '../../infra/chaos/service-process.ts'

const run = promisify(execFile)
const DEBIANS = '/usr/lib/postgresql'
const ADMIN = 'admin'

/** The folder of Debian's programs, the newest; undefined where there are none. In CI their absence is a failure. */
export const POSTGRES = programs()
function programs(): string | undefined {
  const versions = existsSync(DEBIANS) ? readdirSync(DEBIANS).sort((a, b) => Number(b) - Number(a)) : []
  const bin = versions.map((version) => join(DEBIANS, version, 'bin')).find((path) => existsSync(join(path, 'initdb')))
  if (bin === undefined && process.env.CI) throw new Error('PostgreSQL is not installed, and in CI it must be.')
  return bin
}

/** The account it runs as: it refuses to run as root. */
export function accountOfPostgres(): { uid?: number; gid?: number } {
  if (process.getuid?.() !== 0) return {}
  const [uid, gid] = ['-u', '-g'].map((which) => Number(execFileSync('id', [which, 'postgres'])))
  return { uid: uid!, gid: gid! }
}

/**
 * A PostgreSQL of a test's own, to be hurt: over TCP it asks everybody for a password (scram-sha-256, its usual way);
 * the test itself comes in by the socket in its folder, without one.
 */
export class OwnPostgres {
  readonly #account = accountOfPostgres()
  readonly data: string

  private constructor(
    readonly folder: string,
    readonly port: number,
    /** The disk of its own that its data lie on, if it has one. */
    readonly room: Room | null,
  ) {
    this.data = join(folder, 'data')
  }

  /** @param megabytes of a disk of its own, which only root on Linux can make */
  static async start(settings: Record<string, string> = {}, megabytes?: number): Promise<OwnPostgres> {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-pg-'))
    const own = new OwnPostgres(folder, await freePort(), megabytes ? await Room.make(folder, megabytes) : null)
    await chmod(folder, 0o755)
    await mkdir(own.data)
    await own.#give(own.data, 0o700)
    await own.#do('initdb', ['-D', own.data, '-U', ADMIN, '-A', 'trust', '-N', '-E', 'UTF8', '--locale=C.UTF-8'])
    await writeFile(join(own.data, 'pg_hba.conf'), 'local all all trust\nhost all all 127.0.0.1/32 scram-sha-256\n')
    const usual = { port: String(own.port), listen_addresses: '127.0.0.1', unix_socket_directories: own.data }
    await own.set({ ...usual, fsync: 'off', ...settings })
    await own.begin()
    return own
  }

  /** An address over TCP, as the service is given it. */
  address(user: string, password: string | null, database: string, more = ''): string {
    const login = password === null ? user : `${user}:${encodeURIComponent(password)}`
    return `postgres://${login}@127.0.0.1:${this.port}/${database}${more}`
  }

  /** As its owner, past every fault. */
  async ask(statement: string, database = 'postgres'): Promise<Record<string, unknown>[]> {
    const options = '-c default_transaction_read_only=off'
    const client = new pg.Client({ host: this.data, port: this.port, user: ADMIN, database, options })
    await client.connect()
    const asked = client.query<Record<string, unknown>>(statement)
    return asked.then(({ rows }) => rows).finally(() => client.end())
  }

  /** Counts from the next start, or from `reload`. The last word on a setting holds. */
  set(settings: Record<string, string>): Promise<void> {
    const lines = Object.entries(settings).map(([name, value]) => `${name} = '${value}'\n`)
    return appendFile(join(this.data, 'postgresql.conf'), lines.join(''))
  }

  async reload(settings: Record<string, string>): Promise<void> {
    await this.set(settings)
    await this.#control('reload')
  }

  begin(): Promise<void> {
    return this.#control('-w', '-l', join(this.data, 'log'), 'start')
  }

  halt(): Promise<void> {
    return this.#control('-w', '-m', 'fast', 'stop')
  }

  /** A file beside its settings that only it may read. */
  async put(name: string, text: string): Promise<void> {
    await writeFile(join(this.data, name), text)
    await this.#give(join(this.data, name), 0o600)
  }

  async end(): Promise<void> {
    await this.#control('-w', '-m', 'immediate', 'stop').catch(() => {})
    await this.room?.clear()
    await rm(this.folder, { recursive: true, force: true })
  }

  async #give(path: string, mode: number): Promise<void> {
    const { uid, gid } = this.#account
    if (uid !== undefined) await chown(path, uid, gid!)
    await chmod(path, mode)
  }

  #control(...what: string[]): Promise<void> {
    return this.#do('pg_ctl', ['-D', this.data, ...what])
  }

  async #do(program: string, what: string[]): Promise<void> {
    await run(join(POSTGRES!, program), what, { cwd: this.folder, ...this.#account })
  }
}
