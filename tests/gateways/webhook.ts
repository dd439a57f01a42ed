import { once } from 'node:events'
import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import type { Callback, CallbackGateway } from '../../src/flows/ports/gateway.ts'

/** A bare web server that hands callbacks to a gateway, as the service does. */
export class Webhook {
  readonly url: string
  /** What was called, and what was answered. */
  readonly calls: { url: string; status: number; body: string }[] = []
  readonly #server: ReturnType<typeof createServer>

  private constructor(server: ReturnType<typeof createServer>) {
    this.#server = server
    this.url = `http://127.0.0.1:${(server.address() as AddressInfo).port}`
  }

  /** Listens; `gateway` is asked for when a callback comes. */
  static async for(gateway: () => CallbackGateway): Promise<Webhook> {
    const server = createServer((request, response) => {
      const chunks: Buffer[] = []
      request.on('data', (chunk: Buffer) => chunks.push(chunk))
      request.on('end', () => void answer(Buffer.concat(chunks)))
      const answer = async (body: Buffer) => {
        const url = new URL(request.url!, 'http://webhook')
        const headers = Object.fromEntries(
          Object.entries(request.headers).map(([name, value]) => [name, String(value)]),
        )
        const path = url.pathname.split('/').at(-1) as Callback['path']
        const reply = await gateway().callback({
          path,
          method: request.method!,
          url: request.url!,
          query: Object.fromEntries(url.searchParams),
          headers,
          body,
        })
        webhook.calls.push({ url: request.url!, status: reply.status, body: reply.body })
        response.writeHead(reply.status, { 'content-length': Buffer.byteLength(reply.body) }).end(reply.body)
      }
    })
    server.listen(0, '127.0.0.1')
    await once(server, 'listening')
    const webhook = new Webhook(server)
    return webhook
  }

  async close(): Promise<void> {
    this.#server.close()
    this.#server.closeAllConnections()
    await once(this.#server, 'close')
  }
}
