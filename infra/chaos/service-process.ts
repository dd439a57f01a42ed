import { spawn, type ChildProcess } from 'node:child_process'
import { createServer } from 'node:net'

const ROOT = new URL('../../', import.meta.url).pathname

export interface ProcessOptions {
  role: 'web' | 'worker' | 'all'
  environment: Record<string, string>
  /** Where the version lies that is run; without it, this one. */
  root?: string
  /** What to run instead of the `daysix` command, e.g. the service with a clock that jumps. */
  entry?: string
  /** Heard of what such an entry says. */
  told?: (told: Told) => void
  /** Heard of when it ends without having been killed or told to stop. */
  endedByItself?: (how: string) => void
}

/**
 * The log of a database goes on in a new file, again and again until those kept ready are used up: on a full disk that
 * is the end of it. Something must be written in each.
 */
export const TURN_LOG: readonly string[] = Array.from({ length: 8 }, () => [
  `select pg_logical_emit_message(true, 'chaos', 'on')`,
  'select pg_switch_wal()',
]).flat()

/** What the service on a clock of the harness says of itself when it starts. */
export interface Told {
  /** The id under which this process claims messages. */
  worker: string
  /** Claims that were left behind, where nobody but this process can look. */
  left: { id: string; attempt: number }[]
}

/** The service in a process of its own, to be killed as a machine would: with no chance to say good-bye. */
export class ServiceProcess {
  readonly #options: ProcessOptions
  #child: ChildProcess | undefined
  /** The one that is being ended from outside. */
  #ending: ChildProcess | undefined
  /** Last lines of its log, for when something goes wrong. */
  log: string[] = []

  constructor(options: ProcessOptions) {
    this.#options = options
  }

  get runs(): boolean {
    return this.#child !== undefined && this.#child.exitCode === null && this.#child.signalCode === null
  }

  /** Does nothing while it runs. */
  start(): void {
    if (this.runs) return
    const { entry, role, environment, root = ROOT } = this.#options
    const program = entry ? ['--import', 'tsx', entry] : ['src/cli/daysix.mjs', 'serve']
    const { PATH, HOME } = process.env
    const ipc = entry ? (['ignore', 'pipe', 'pipe', 'ipc'] as const) : (['ignore', 'pipe', 'pipe'] as const)
    const child = spawn(process.execPath, [...program, '--role', role], {
      cwd: root,
      env: { PATH, HOME, NODE_ENV: 'test', LOG_LEVEL: 'warn', ...environment } as unknown as NodeJS.ProcessEnv,
      stdio: [...ipc],
    })
    this.#child = child
    for (const stream of [child.stdout, child.stderr]) {
      stream?.setEncoding('utf8').on('data', (chunk: string) => {
        this.log = [...this.log, ...chunk.split('\n').filter(Boolean)].slice(-2_000)
      })
    }
    // A child that is killed while it is told something is no fault of this process.
    child.on('error', () => {})
    child.on('message', (message) => this.#options.told?.(message as Told))
    child.once(
      'exit',
      (code, signal) => this.#ending !== child && this.#options.endedByItself?.(signal ?? `code ${code}`),
    )
  }

  /** Counts from its next start. */
  setEnvironment(name: string, value: string): void {
    this.#options.environment[name] = value
  }

  tell(message: object): void {
    if (this.runs && this.#child!.connected) this.#child!.send(message, () => {})
  }

  /** The kernel ends it; nothing of ours runs any more. */
  kill(): Promise<void> {
    return this.#end('SIGKILL')
  }

  /** It may finish what it is doing. */
  stop(): Promise<void> {
    return this.#end('SIGTERM')
  }

  #end(signal: NodeJS.Signals): Promise<void> {
    const child = this.#child
    if (!child || !this.runs) return Promise.resolve()
    this.#ending = child
    return new Promise((done) => {
      child.once('exit', () => done())
      child.kill(signal)
    })
  }
}

/**
 * A port of the loopback that is free now, from below those that outgoing connections are given: nobody takes it
 * meanwhile.
 */
export async function freePort(): Promise<number> {
  for (;;) {
    const port = 20_000 + Math.floor(Math.random() * 12_000)
    const server = createServer()
    const free = await new Promise<boolean>((done) =>
      server.once('error', () => done(false)).listen(port, '127.0.0.1', () => done(true)),
    )
    if (!free) continue
    await new Promise((done) => server.close(done))
    return port
  }
}

/** Asks until it is so. @throws with `what` after so many seconds */
export async function eventually(what: string, isSo: () => Promise<boolean> | boolean, seconds = 120): Promise<void> {
  const until = Date.now() + seconds * 1000
  while (Date.now() < until) {
    if (await Promise.resolve(isSo()).catch(() => false)) return
    await new Promise((done) => setTimeout(done, 200))
  }
  throw new Error(`not within ${seconds} s: ${what}`)
}

/** Whether the service at this address says that it is ready. */
export async function isReady(url: string): Promise<boolean> {
  const response = await fetch(`${url}/health/ready`, { signal: AbortSignal.timeout(4_000) })
  await response.arrayBuffer()
  return response.status === 200
}
