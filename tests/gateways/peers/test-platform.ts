import { createHmac } from 'node:crypto'
import { once } from 'node:events'
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { FATES } from '../fates.ts'

// A voice platform of the usual sort, invented: ordered over HTTP, it fetches VoiceXML, follows it, and calls back.

export interface Order {
  to: string
  id: string
  script: string
  voicemail: string
}

const RETRY_MS = 50
const FAULTS: Record<string, [status: number, body: object]> = {
  [FATES.reject]: [422, { error: 'bad-number' }],
  [FATES.later]: [503, {}],
  [FATES.throttle]: [429, {}],
}

export class TestPlatform {
  readonly orders: Order[] = []
  /** The message of each call, as its script has it. */
  readonly taken: { to: string; text: string }[] = []
  /** Everything said in the last call, in order. */
  said: string[] = []
  hooks = ''
  /** What whoever is called does, one a menu: presses a key, nothing (`''`), or hangs up (also when none is left). */
  keys = ['1', '1']
  /** False: it calls, but never asks for what is to be said. */
  fetches = true
  /** True: it found a machine. */
  machine = false
  /** What the script told at the end of the call, as it was posted. */
  reported: string[] = []
  readonly #server = createServer((request, response) => void this.#take(request, response))
  #next = 1

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

  async #take(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const order = JSON.parse(await bodyOf(request)) as Order
    const { to } = order
    this.orders.push(order)
    const fault = FAULTS[to]
    if (fault) return answer(response, ...fault)
    const ref = `call-${this.#next++}`
    const calling = this.#call(order)
    if (to === FATES.silent) return
    if (to === FATES.drop) return void request.socket.destroy()
    await calling
    if (to === FATES.earlyReceipt) await this.#receipt(to, ref)
    if (to === FATES.slow) await new Promise((resume) => setTimeout(resume, 300))
    answer(response, 202, { call: ref })
    if (to === FATES.twice)
      request.socket.write('HTTP/1.1 202 Accepted\r\ncontent-length: 18\r\n\r\n{"call":"call-99"}')
    if (to === FATES.noReceipt || to === FATES.earlyReceipt) return
    for (let n = 0; n < (to === FATES.twice ? 2 : 1); n++) await this.#receipt(to, ref)
  }

  /** Fetches the script and follows it. */
  async #call({ to, script, voicemail }: Order): Promise<void> {
    if (!this.fetches) return
    const fetched = await fetch(this.machine ? voicemail : script)
    const document = await fetched.text()
    const [said] = paragraphsOf(dialogOf(document, 'message'))
    this.taken.push({ to, text: said! })
    ;[this.said, this.reported] = [[], []]
    if (to === FATES.undelivered || to === FATES.noReceipt) return
    await new Reading(document, [...this.keys], this).follow(firstDialog(document))
  }

  async #receipt(to: string, ref: string): Promise<void> {
    await this.#callBack(
      to === FATES.undelivered
        ? { call: ref, status: 'failed', reason: 'subscriber_busy' }
        : { call: ref, status: 'completed' },
    )
  }

  /** Calls back until it is heard. */
  async #callBack(content: object): Promise<void> {
    const body = JSON.stringify(content)
    const time = String(Math.floor(Date.now() / 1000))
    const signature = createHmac('sha256', 'shared').update(`${time}.${body}`).digest('base64')
    const headers = { 'content-type': 'application/json', 'x-time': time, 'x-signature': signature }
    const answer = await fetch(`${this.hooks}/receipt`, { method: 'POST', headers, body }).catch(() => undefined)
    if (answer?.status === 503) setTimeout(() => void this.#callBack(content), RETRY_MS)
  }
}

/** Follows one document, as far as calls use VoiceXML 2.0; a submit goes on with the next. */
class Reading {
  readonly #document: string
  readonly #keys: string[]
  readonly #platform: TestPlatform
  /** How often nobody pressed a key, by menu. */
  readonly #silent = new Map<string, number>()
  #variables: Record<string, string>

  constructor(document: string, keys: string[], platform: TestPlatform) {
    this.#document = document
    this.#keys = keys
    this.#platform = platform
    this.#variables = assigned(/^<var .*$/m.exec(document)?.[0] ?? '')
  }

  async follow(id: string): Promise<void> {
    const dialog = dialogOf(this.#document, id)
    this.#platform.said.push(...paragraphsOf(dialog.replace(/<nomatch.*?<\/nomatch>/gs, '')))
    if (dialog.startsWith('<menu')) return this.#choose(id, dialog)
    Object.assign(this.#variables, assigned(dialog))
    if (dialog.includes('<disconnect/>')) return this.#hangUp()
    if (dialog.includes('<submit')) await this.#submit(dialog)
  }

  async #choose(id: string, dialog: string): Promise<void> {
    const key = this.#keys.shift()
    if (key === undefined) return this.#hangUp()
    const chosen = new RegExp(`<choice dtmf="${key}" next="#([^"]+)"`).exec(dialog)?.[1]
    if (chosen) return this.follow(chosen)
    const count = (this.#silent.get(id) ?? 0) + 1
    this.#silent.set(id, count)
    // §5.2.4: the handler with the highest count that is not above this one.
    const handlers = [...dialog.matchAll(/<noinput(?: count="(\d)")?>(.*?)<\/noinput>/g)]
    const handler = handlers.filter(([, from]) => Number(from ?? 1) <= count).at(-1)![2]!
    return this.follow(/<goto next="#([^"]+)"/.exec(handler)?.[1] ?? id)
  }

  /** §1.5.4: what is caught in the final processing state is carried out, and nothing is said any more. */
  async #hangUp(): Promise<void> {
    const handler = /<catch event="connection.disconnect">.*?<\/catch>/.exec(this.#document)![0]
    if (handler.includes('<submit')) await this.#submit(handler)
  }

  async #submit(dialog: string): Promise<void> {
    const [, next, names] = /<submit next="([^"]+)" method="post" namelist="([^"]+)"/.exec(dialog)!
    const body = new URLSearchParams(
      Object.fromEntries(names!.split(' ').map((name) => [name, this.#variables[name]!])),
    )
    this.#platform.reported.push(body.toString())
    for (let tries = 0; tries < 20; tries++) {
      const answered = await fetch(decode(next!), { method: 'POST', body })
      const document = answered.status === 200 ? await answered.text() : ''
      const goesOn = document !== '' && !dialog.startsWith('<catch')
      if (goesOn) return new Reading(document, this.#keys, this.#platform).follow(firstDialog(document))
      if (answered.status !== 503) return
      await new Promise((resume) => setTimeout(resume, RETRY_MS))
    }
  }
}

function assigned(elements: string): Record<string, string> {
  const found = elements.matchAll(/<(?:var|assign) name="(\w+)" expr="&#39;([^&]*)&#39;"/g)
  return Object.fromEntries([...found].map(([, name, value]) => [name!, value!]))
}

/** §1.5.1: a document begins with its first dialog. */
function firstDialog(document: string): string {
  return /<(?:menu|form) id="([^"]+)"/.exec(document)?.[1] ?? ''
}

/** How a gateway to this platform is described. */
export function platformConfig(port: number): object {
  return {
    kind: 'voice-http',
    name: 'platform',
    signing: 'env:SIGNING',
    timeoutMs: 3_000,
    request: {
      method: 'POST',
      url: `http://127.0.0.1:${port}/calls`,
      body: { as: 'json', value: { to: '{to}', id: '{our_id}', script: '{script_url}', voicemail: '{voicemail_url}' } },
    },
    ref: 'json:call',
    receipts: {
      auth: {
        kind: 'hmac',
        secret: 'env:SHARED',
        signed: '{timestamp}.{body}',
        header: 'X-Signature',
        encoding: 'base64',
        timestampHeader: 'X-Time',
      },
      ref: 'json:call',
      state: 'json:status',
      states: { completed: 'delivered', failed: 'undelivered' },
      code: 'json:reason',
    },
    codes: { subscriber_busy: 'busy' },
  }
}

function dialogOf(document: string, id: string): string {
  return new RegExp(`<(menu|form) id="${id}">.*?</\\1>`, 's').exec(document)?.[0] ?? ''
}

function paragraphsOf(dialog: string): string[] {
  return [...dialog.matchAll(/<p>(.*?)<\/p>/gs)].map(([, words]) => decode(words!))
}

function decode(words: string): string {
  return words.replace(/&#(\d+);/g, (_, code: string) => String.fromCharCode(Number(code)))
}

function answer(response: ServerResponse, status: number, body: object): void {
  response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(body))
}

async function bodyOf(request: IncomingMessage): Promise<string> {
  const chunks: Buffer[] = []
  for await (const chunk of request as AsyncIterable<Buffer>) chunks.push(chunk)
  return Buffer.concat(chunks).toString()
}
