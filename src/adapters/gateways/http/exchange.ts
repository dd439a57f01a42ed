import http from 'node:http'
import https from 'node:https'
import { guardedLookup, isRefusedLiteral } from '../egress-guard.ts'
import { UNTRUSTED } from '../tls-faults.ts'
import { Letter } from './letter.ts'

export interface WireRequest {
  url: URL
  method: string
  headers: Record<string, string>
  body: Buffer | undefined
}

export interface WireAnswer {
  status: number
  letter: Letter
}

/**
 * Why there is no answer.
 * - `not-sent`: no byte of the request reached a connection, so it was certainly not accepted.
 * - `untrusted`: the peer's certificate does not hold; nothing was sent.
 * - `maybe-sent`: the request went out, and then the connection or our patience ended.
 */
export interface WireFault {
  fault: 'not-sent' | 'untrusted' | 'maybe-sent'
  code: string
}

const MAX_ANSWER_BYTES = 64 * 1024

/** Connections to one peer, kept open between requests. */
export function connections(protocol: string, maxSockets: number): http.Agent {
  const options = { keepAlive: true, maxSockets, timeout: IDLE_MS, lookup: guardedLookup() }
  return protocol === 'https:' ? new https.Agent(options) : new http.Agent(options)
}

/**
 * Under the 5 s after which common servers drop an idle connection: a write into one that closes has an unknown fate.
 */
const IDLE_MS = 4_000

/** Connections that are through: one may pass from a request to a waiting one without Node calling it used before. */
const open = new WeakSet<object>()

/**
 * Sends one request and reads its answer. Never throws: a fault says whether the request may have been seen.
 * @param timeoutMs for making the connection, and from then on for the whole answer.
 */
export function exchange(request: WireRequest, agent: http.Agent, timeoutMs: number): Promise<WireAnswer | WireFault> {
  // An address in place of a name is never looked up, so the agent's guard does not see it.
  if (isRefusedLiteral(request.url.hostname)) return Promise.resolve({ fault: 'not-sent', code: 'egress_refused' })
  return new Promise((resolve) => {
    const secure = request.url.protocol === 'https:'
    const { method, headers, body } = request
    const sending = (secure ? https : http).request(request.url, { method, headers, agent })
    let handedOver = false
    const giveUp = (code: string) => sending.destroy(Object.assign(new Error(code), { code }))
    const within = (code: string) => patience(timeoutMs, () => giveUp(code))
    let stopWaiting = within('connect-timeout')
    const settle = (result: WireAnswer | WireFault) => {
      stopWaiting()
      resolve(result)
    }
    // Only now does the peer know of it: how long it takes to answer is counted from here.
    const through = () => {
      handedOver = true
      stopWaiting()
      stopWaiting = within('timeout')
    }
    sending.on('socket', (socket) => {
      if (open.has(socket)) through()
      else socket.once(secure ? 'secureConnect' : 'connect', () => (open.add(socket), through()))
    })
    let isAnswered = false
    // Once the answer begins, its own end says whether it came whole: what a peer sends beyond it makes it no less an
    // answer.
    sending.on('error', (error) => isAnswered || settle(faultOf(error, handedOver)))
    sending.on('response', (response) => {
      isAnswered = true
      void readAnswer(response).then(settle, (error: Error) => settle(faultOf(error, true)))
    })
    sending.end(body)
  })
}

/**
 * Ends after a while, but hears first what has come meanwhile: this process may have stood still, and not its peer.
 * @returns how to end it before.
 */
function patience(ms: number, over: () => void): () => void {
  let last: NodeJS.Immediate | undefined
  const timer = setTimeout(() => (last = setImmediate(over)), ms)
  return () => {
    clearTimeout(timer)
    clearImmediate(last)
  }
}

async function readAnswer(response: http.IncomingMessage): Promise<WireAnswer> {
  const chunks: Buffer[] = []
  let size = 0
  for await (const chunk of response as AsyncIterable<Buffer>) {
    chunks.push(chunk)
    if ((size += chunk.length) > MAX_ANSWER_BYTES) break
  }
  const headers = Object.fromEntries(Object.entries(response.headers).map(([name, value]) => [name, String(value)]))
  return { status: response.statusCode ?? 0, letter: new Letter('', headers, Buffer.concat(chunks)) }
}

function faultOf(error: Error, handedOver: boolean): WireFault {
  const code = 'code' in error && typeof error.code === 'string' ? error.code : 'broken'
  if (handedOver) return { fault: 'maybe-sent', code: code.toLowerCase() }
  return { fault: UNTRUSTED.test(code) ? 'untrusted' : 'not-sent', code: code.toLowerCase() }
}
