import { spawn, type ChildProcess } from 'node:child_process'
import { once } from 'node:events'
import { Redis } from 'ioredis'
import { freePort } from '../../infra/chaos/service-process.ts'

/** A Redis of a test's own, to be hurt: it keeps all in memory, and is gone with the test. */
export class OwnRedis {
  #server: ChildProcess | undefined
  #admin: Redis | undefined

  private constructor(
    readonly port: number,
    readonly password: string,
  ) {}

  /** @throws where Debian's redis-server is not installed */
  static async start(password = ''): Promise<OwnRedis> {
    const own = new OwnRedis(await freePort(), password)
    const settings = ['--bind', '127.0.0.1', '--port', String(own.port), '--save', '', '--requirepass', password]
    own.#server = spawn('redis-server', settings, { stdio: 'ignore' })
    own.#admin = new Redis({ port: own.port, password, maxRetriesPerRequest: null, retryStrategy: () => 100 })
    own.#admin.on('error', () => {})
    await own.#admin.ping()
    return own
  }

  /** As its owner. */
  ask(...[command, ...words]: [string, ...string[]]): Promise<unknown> {
    return this.#admin!.call(command, ...words)
  }

  async end(): Promise<void> {
    this.#admin?.disconnect()
    if (this.#server?.kill('SIGKILL')) await once(this.#server, 'exit')
  }
}
