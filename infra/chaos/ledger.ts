import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { text } from 'node:stream/consumers'

/** One acceptance, as the network itself wrote it down. */
export interface Acceptance {
  id: string
  to: string
  text: string
  ref: string
  notAfter: Date
  /** By the network's own clock. */
  at: Date
  /** By this machine's, which nobody moves. */
  real: number
  receiptUrl: string
}

/** What befalls one message at the network. */
export interface Fate {
  /** Milliseconds until the answer. */
  answerAfter?: number
  /** The connection breaks: before the message is taken, or after. */
  breaks?: 'before' | 'after'
  /** Refused for now, in so many words. */
  refused?: boolean
}

const KEY = 'ledger-key-0123456789'
/** Whoever sends is told to wait so long for an answer. */
const PATIENCE_MS = 4_000

/**
 * A message network of its own, over HTTP on the loopback: the independent witness. It shares no code and no clock with
 * the service, writes down every acceptance before it answers, and knows nothing of what the service records.
 */
export class Ledger {
  readonly acceptances: Acceptance[] = []
  /** Messages that are being handed over right now. */
  readonly open = new Set<string>()
  /** Handings-over whose answer did not, or may not, get through. */
  readonly unheard: string[] = []
  fateOf: (id: string) => Fate = () => ({})
  onAccept: (acceptance: Acceptance) => void = () => {}
  now: () => Date = () => new Date()
  #server: Server | undefined

  async start(): Promise<void> {
    this.#server = createServer(
      (request, response) => void this.#take(request, response).catch(() => response.destroy()),
    )
    await new Promise<void>((done) => this.#server!.listen(0, '127.0.0.1', done))
  }

  async stop(): Promise<void> {
    this.#server?.closeAllConnections()
    await new Promise<void>((done) => this.#server?.close(() => done()))
  }

  /** The description of this network for the service, as a gateway file. */
  description(onUnknown: 'resend' | 'ask-desk'): string {
    const { port } = this.#server!.address() as AddressInfo
    const value = { id: '{our_id}', to: '{to}', text: '{text}', notAfter: '{not_after}', receiptUrl: '{receipt_url}' }
    return JSON.stringify({
      kind: 'http',
      name: 'ledger',
      onUnknown,
      timeoutMs: PATIENCE_MS,
      maxConnections: 200,
      request: { method: 'POST', url: `http://127.0.0.1:${port}/messages`, body: { as: 'json', value } },
      ref: 'json:ref',
      receipts: {
        auth: { kind: 'query', name: 'key', secret: 'env:LEDGER_KEY' },
        ref: 'json:ref',
        state: 'json:state',
        states: { delivered: 'delivered', failed: 'undelivered' },
      },
      replies: {
        auth: { kind: 'bearer', token: 'env:LEDGER_KEY' },
        from: 'json:from',
        text: 'json:text',
        key: 'json:key',
      },
    })
  }

  /** What the service must find in its environment. */
  readonly environment = { LEDGER_KEY: KEY }

  /** Waits until a message is being handed over, if one is soon. */
  async somethingOpen(withinMs: number): Promise<void> {
    const until = Date.now() + withinMs
    while (this.open.size === 0 && Date.now() < until) await new Promise((done) => setTimeout(done, 5))
  }

  /** How often each message was accepted. */
  counts(): Map<string, number> {
    const counts = new Map<string, number>()
    for (const { id } of this.acceptances) counts.set(id, (counts.get(id) ?? 0) + 1)
    return counts
  }

  /** Tells what became of a message. False when nobody took the news. */
  tellReceipt({ receiptUrl, ref }: Acceptance, state: 'delivered' | 'failed', base?: string): Promise<boolean> {
    const url = base ? receiptUrl.replace(/^https?:\/\/[^/]+/, base) : receiptUrl
    return posted(url, { ref, state })
  }

  tellReply(base: string, reply: { from: string; text: string; key: string }): Promise<boolean> {
    return posted(`${base}/gateways/ledger/reply`, reply, { Authorization: `Bearer ${KEY}` })
  }

  async #take(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const { id, to, text: words, notAfter, receiptUrl } = JSON.parse(await text(request)) as Record<string, string>
    const fate = this.fateOf(id!)
    if (fate.refused) return void response.writeHead(503).end()
    this.#noteUnheard(id!, response)
    if (fate.breaks === 'before') return void request.socket.destroy()
    const ref = `n-${this.acceptances.length + 1}`
    const acceptance = {
      id: id!,
      to: to!,
      text: words!,
      ref,
      notAfter: new Date(notAfter!),
      at: this.now(),
      real: Date.now(),
      receiptUrl: receiptUrl ?? '',
    }
    this.open.add(id!)
    this.acceptances.push(acceptance)
    this.onAccept(acceptance)
    if (fate.answerAfter) await new Promise((done) => setTimeout(done, fate.answerAfter))
    this.open.delete(id!)
    if (fate.breaks === 'after') return void request.socket.destroy()
    response.writeHead(200, { 'Content-Type': 'application/json' }).end(JSON.stringify({ ref }))
  }

  /** The connection ended before the answer was out, or the answer took so long that nobody may have waited for it. */
  #noteUnheard(id: string, response: ServerResponse): void {
    const began = Date.now()
    response.once('close', () => {
      if (!response.writableFinished || Date.now() - began > PATIENCE_MS * 0.75) this.unheard.push(id)
    })
  }
}

async function posted(url: string, body: unknown, headers: Record<string, string> = {}): Promise<boolean> {
  try {
    const response = await fetch(url, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json', ...headers },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(5_000),
    })
    await response.arrayBuffer()
    return response.ok
  } catch {
    return false
  }
}
