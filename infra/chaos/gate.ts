import { connect, createServer, type Server, type Socket } from 'node:net'
import type { AddressInfo } from 'node:net'

/** A way to a server that can be shut: for those behind it the server is gone, while it goes on for others. */
export class Gate {
  readonly #target: { host: string; port: number }
  readonly #sockets = new Set<Socket>()
  #server: Server | undefined
  port = 0

  constructor(target: string) {
    const { hostname, port } = new URL(target)
    this.#target = { host: hostname, port: Number(port) }
  }

  /** The same address as the target's, through the gate. */
  address(target: string): string {
    const url = new URL(target)
    url.port = String(this.port)
    return url.href
  }

  /** @param port to be used before it is open, e.g. in an address handed out already */
  async open(port = this.port): Promise<void> {
    const server = createServer((near) => this.#join(near))
    await new Promise<void>((done, fail) => server.once('error', fail).listen(port, '127.0.0.1', done))
    this.port = (server.address() as AddressInfo).port
    this.#server = server
  }

  /** Cuts every connection, and lets nobody in until it is opened again. */
  async shut(): Promise<void> {
    const server = this.#server
    this.#server = undefined
    if (!server) return
    const closed = new Promise<void>((done) => server.close(() => done()))
    this.cut()
    await closed
  }

  /** Cuts every connection; new ones are let in. */
  cut(): void {
    for (const socket of this.#sockets) socket.destroy()
  }

  #join(near: Socket): void {
    const far = connect(this.#target)
    for (const [socket, other] of [
      [near, far],
      [far, near],
    ] as const) {
      this.#sockets.add(socket)
      socket.on('error', () => {})
      socket.on('close', () => {
        this.#sockets.delete(socket)
        other.destroy()
      })
      socket.pipe(other)
    }
  }
}
