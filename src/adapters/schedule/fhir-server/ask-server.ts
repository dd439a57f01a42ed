import http from 'node:http'
import https from 'node:https'
import {
  EgressRefused,
  guardedLookup,
  isOwnAddress,
  isRefusedAddress,
  isRefusedLiteral,
} from '../../gateways/egress-guard.ts'
import { UNTRUSTED } from '../../gateways/tls-faults.ts'
import { bytesOf, FetchFault } from '../fetch-file.ts'

export interface ServerAsk {
  url: URL
  method?: 'GET' | 'POST'
  headers?: Record<string, string>
  body?: string
}

/** How a server may be reached. */
export interface ServerWay {
  /** Addresses of this machine and its network are allowed, and plain http there. */
  ownNetwork: boolean
  /** Certificates that are trusted in place of the usual ones. */
  ca?: string | undefined
}

export interface ServerAnswer {
  status: number
  json: unknown
  /** Seconds after which it wants to be asked again; null = it does not say. */
  retryAfter: number | null
}

const LARGEST = 20 * 1024 * 1024
const TIMEOUT_MS = 30_000

/**
 * Asks a server for JSON. Redirects are not followed: what it is shown must not go elsewhere.
 * @throws FetchFault in words that name no address
 */
export async function askServer(
  { url, method = 'GET', headers = {}, body }: ServerAsk,
  { ownNetwork, ca }: ServerWay,
): Promise<ServerAnswer> {
  const refuses = ownNetwork ? isRefusedAddress : isOwnAddress
  if (url.protocol !== 'https:' && !(ownNetwork && url.protocol === 'http:'))
    throw new FetchFault('its address is not https')
  if (isRefusedLiteral(url.hostname, new Set(), refuses)) throw new FetchFault('its address is not allowed')
  const options = {
    ...{ method, agent: false as const, signal: AbortSignal.timeout(TIMEOUT_MS) },
    ...{ lookup: guardedLookup(new Set(), refuses), ...(ca !== undefined && { ca }) },
    headers: { Accept: 'application/fhir+json, application/json', 'Accept-Encoding': 'identity', ...headers },
  }
  try {
    const answer = await new Promise<http.IncomingMessage>((done, fail) => {
      const asked = (url.protocol === 'https:' ? https : http).request(url, options, done)
      asked.on('error', fail)
      asked.end(body)
    })
    const bytes = await bytesOf(answer, LARGEST, 'an answer is larger than 20 MB')
    const wait = Number(answer.headers['retry-after'] ?? Number.NaN)
    return {
      status: answer.statusCode ?? 0,
      json: parsed(bytes.toString('utf8')),
      retryAfter: Number.isFinite(wait) ? wait : null,
    }
  } catch (error) {
    throw faultOf(error)
  }
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}

/** By its code alone: a message of the system may name the address. */
function faultOf(error: unknown): FetchFault {
  if (error instanceof FetchFault) return error
  if (error instanceof EgressRefused) return new FetchFault('its address is not allowed')
  const code = error instanceof Error && 'code' in error ? String(error.code) : ''
  if (UNTRUSTED.test(code)) return new FetchFault('its certificate does not hold')
  return new FetchFault(code === 'ECONNREFUSED' || code === 'ENOTFOUND' ? 'nobody answers there' : 'no answer came')
}
