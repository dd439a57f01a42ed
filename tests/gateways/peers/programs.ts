import { spawn, spawnSync, type ChildProcess } from 'node:child_process'
import dgram from 'node:dgram'
import { once } from 'node:events'
import net, { type AddressInfo } from 'node:net'
import { createInterface } from 'node:readline'

/**
 * Whether an outside program is there to be tested against. Where tests must be complete (`CI` is set) its absence is
 * a failure, elsewhere the tests that need it are skipped.
 */
export function present(program: string, args: string[]): boolean {
  const { status, error } = spawnSync(program, args, { stdio: 'ignore' })
  const found = error === undefined && status === 0
  if (!found && process.env.CI) throw new Error(`${program} is missing: install the packages that .ci/run names`)
  return found
}

/** A program started by a test, in a process group of its own. */
export class Program {
  readonly lines: string[] = []
  readonly #child: ChildProcess
  readonly #ended: Promise<unknown>

  constructor(program: string, args: string[], env: Record<string, string> = {}, cwd?: string) {
    this.#child = spawn(program, args, {
      env: { ...process.env, ...env },
      cwd,
      detached: true,
      stdio: ['ignore', 'pipe', 'pipe'],
    })
    this.#ended = once(this.#child, 'close')
    for (const stream of [this.#child.stdout!, this.#child.stderr!])
      createInterface(stream).on('line', (line) => this.lines.push(line))
  }

  /** Waits for the program to end by itself; its exit code. */
  async ended(): Promise<number | null> {
    await this.#ended
    return this.#child.exitCode
  }

  /** Ends the program and what it has started, and waits for it. */
  async stop(): Promise<void> {
    if (this.#child.exitCode === null && this.#child.signalCode === null) process.kill(-this.#child.pid!, 'SIGTERM')
    const force = setTimeout(() => process.kill(-this.#child.pid!, 'SIGKILL'), 5_000)
    await this.#ended
    clearTimeout(force)
  }
}

/** A port on the loopback that nobody uses now. */
export async function freePort(): Promise<number> {
  const server = net.createServer().listen(0, '127.0.0.1')
  await once(server, 'listening')
  const { port } = server.address() as AddressInfo
  server.close()
  await once(server, 'close')
  return port
}

/** The same for datagrams. */
export async function freeUdpPort(): Promise<number> {
  const socket = dgram.createSocket('udp4').bind(0, '127.0.0.1')
  await once(socket, 'listening')
  const { port } = socket.address()
  await new Promise<void>((done) => socket.close(done))
  return port
}
