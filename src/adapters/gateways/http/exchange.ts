import http from 'node:http'
import https from 'node:https'
import { guardedLookup, isRefusedLiteral } from '../egress-guard.ts'
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
const UNTRUSTED = /CERT|SELF_SIGNED|UNABLE_TO_VERIFY|ALTNAME/

/** Connections to one peer, kept open between requests. */
export function connections(protocol: string, maxSockets: number): http.Agent {
  const options = { keepAlive: true, maxSockets, timeout: IDLE_MS, lookup: guardedLookup() }
  return protocol === 'https:' ? new https.Agent(options) : new http.Agent(options)
}

/** Under the 5 s after which common servers drop an idle connection: a write into one that closes has an unknown fate. */
const IDLE_MS = 4_000

/** Connections that are through: one may pass from a request to a waiting one without Node calling it used before. */
const open = new WeakSet<object>()

/** Sends one request and reads its answer. Never throws: a fault says whether the request may have been seen. */
export function exchange(request: WireRequest, agent: http.Agent, timeoutMs: number): Promise<WireAnswer | WireFault> {
  // An address in place of a name is never looked up, so the agent's guard does not see it.
  if (isRefusedLiteral(request.url.hostname)) return Promise.resolve({ fault: 'not-sent', code: 'egress_refused' })
  return new Promise((resolve) => {
    const secure = request.url.protocol === 'https:'
    const { method, headers, body } = request
    const sending = (secure ? https : http).request(request.url, { method, headers, agent })
    let handedOver = false
    const patience = setTimeout(
      () => sending.destroy(Object.assign(new Error('no answer in time'), { code: 'timeout' })),
      timeoutMs,
    )
    const settle = (result: WireAnswer | WireFault) => {
      clearTimeout(patience)
      resolve(result)
    }
    sending.on('socket', (socket) => {
      if (open.has(socket)) handedOver = true
      else socket.once(secure ? 'secureConnect' : 'connect', () => (open.add(socket), (handedOver = true)))
    })
    sending.on('error', (error) => settle(faultOf(error, handedOver)))
    sending.on('response', (response) => void readAnswer(response).then(settle, (error: Error) => settle(faultOf(error, true))))
    sending.end(body)
  })
}

async function readAnswer(response: http.IncomingMessage): Promise<WireAnswer> {
  const chunks: Buffer[] = []
  let size = 0
  for await (const chunk of response as AsyncIterable<Buffer>) {
    chunks.push(chunk)
    if ((size += chunk.length) > MAX_ANSWER_BYTES) break
  }
  const headers = Object.fromEntries(Object.entries(response.headers).map(([name, value]) => [name, String(value)]))
  return { status: response.statusCode ?? 0, letter: new Letter({}, headers, Buffer.concat(chunks)) }
}

function faultOf(error: Error, handedOver: boolean): WireFault {
  const code = 'code' in error && typeof error.code === 'string' ? error.code : 'broken'
  if (handedOver) return { fault: 'maybe-sent', code: code.toLowerCase() }
  return { fault: UNTRUSTED.test(code) ? 'untrusted' : 'not-sent', code: code.toLowerCase() }
}
