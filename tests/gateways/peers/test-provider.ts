import { createHmac } from 'node:crypto'
import { once } from 'node:events'
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { FATES, PATIENT } from '../fates.ts'

// A text provider of the usual sort, invented: JSON over HTTP, receipts and replies called back with a signature.

interface Order {
  to: string
  text: string
  id: string
}

const RETRY_MS = 50
const FAULTS: Record<string, [status: number, body: object]> = {
  [FATES.reject]: [200, { accepted: false, error: 'bad-number' }],
  [FATES.later]: [503, {}],
  [FATES.throttle]: [429, {}],
}

export class TestProvider {
  readonly taken: Order[] = []
  /** Where it calls back. */
  hooks = ''
  readonly #server = createServer((request, response) => void this.#take(request, response))
  #next = 1
  #replies = 1

  async listen(): Promise<number> {
    this.#server.listen(0, '127.0.0.1')
    await once(this.#server, 'listening')
    return (this.#server.address() as AddressInfo).port
  }

  async close(): Promise<void> {
    this.#server.close()
    this.#server.closeAllConnections()
    await once(this.#server, 'close')
  }

  /** The patient sends a text. */
  async say(text: string): Promise<void> {
    await this.#callBack('reply', { id: `in-${this.#replies++}`, from: PATIENT, text })
  }

  async #take(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const order = JSON.parse(await bodyOf(request)) as Order
    const { to } = order
    const fault = FAULTS[to]
    if (fault) return answer(response, ...fault)
    this.taken.push(order)
    const ref = `ref-${this.#next++}`
    if (to === FATES.silent) return
    if (to === FATES.drop) return void request.socket.destroy()
    if (to === FATES.earlyReceipt) await this.#receipt(to, ref)
    if (to === FATES.slow) await new Promise((resume) => setTimeout(resume, 300))
    answer(response, 200, { accepted: true, ref })
    if (to === FATES.twice)
      request.socket.write('HTTP/1.1 200 OK\r\ncontent-length: 32\r\n\r\n{"accepted":true,"ref":"ref-99"}')
    if (to === FATES.noReceipt || to === FATES.earlyReceipt) return
    for (let n = 0; n < (to === FATES.twice ? 2 : 1); n++) await this.#receipt(to, ref)
  }

  async #receipt(to: string, ref: string): Promise<void> {
    await this.#callBack('receipt', { ref, status: to === FATES.undelivered ? 'failed' : 'delivered' })
  }

  /** Calls back until it is heard. */
  async #callBack(path: string, content: object): Promise<void> {
    const body = JSON.stringify(content)
    const time = String(Math.floor(Date.now() / 1000))
    const signature = createHmac('sha256', 'shared').update(`${time}.${body}`).digest('base64')
    const headers = { 'content-type': 'application/json', 'x-time': time, 'x-signature': signature }
    const answer = await fetch(`${this.hooks}/${path}`, { method: 'POST', headers, body }).catch(() => undefined)
    if (answer?.status === 503) setTimeout(() => void this.#callBack(path, content), RETRY_MS)
  }
}

/** How a gateway to this provider is described. */
export function providerConfig(port: number): object {
  const auth = {
    kind: 'hmac',
    secret: 'env:SHARED',
    signed: '{timestamp}.{body}',
    header: 'X-Signature',
    encoding: 'base64',
    timestampHeader: 'X-Time',
  }
  return {
    kind: 'http',
    name: 'provider',
    timeoutMs: 3_000,
    request: {
      method: 'POST',
      url: `http://127.0.0.1:${port}/texts`,
      body: { as: 'json', value: { to: '{to}', text: '{text}', id: '{our_id}' } },
    },
    answers: [
      { status: 200, json: { accepted: '^true$' }, means: 'accepted' },
      { status: 200, means: 'rejected', code: 'json:error' },
    ],
    ref: 'json:ref',
    receipts: {
      auth,
      ref: 'json:ref',
      state: 'json:status',
      states: { delivered: 'delivered', failed: 'undelivered' },
    },
    replies: { auth, from: 'json:from', text: 'json:text', key: 'json:id' },
  }
}

function answer(response: ServerResponse, status: number, body: object): void {
  response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(body))
}

async function bodyOf(request: IncomingMessage): Promise<string> {
  const chunks: Buffer[] = []
  for await (const chunk of request as AsyncIterable<Buffer>) chunks.push(chunk)
  return Buffer.concat(chunks).toString()
}
