import { request as ask } from 'node:https'
import type { IncomingMessage } from 'node:http'
import {
  EgressRefused,
  guardedLookup,
  isOwnAddress,
  isRefusedAddress,
  isRefusedLiteral,
} from '../gateways/egress-guard.ts'
import { UNTRUSTED } from '../gateways/tls-faults.ts'

export interface Fetched {
  bytes: Uint8Array
  /** By what the same is known again; empty = it did not say. */
  etag: string
  modified: string
}

export interface FetchSettings {
  /** What was had before. */
  etag: string
  modified: string
  /** Addresses of this machine and its network are allowed. */
  ownNetwork: boolean
  /** A certificate that is trusted beside the usual ones. */
  trust?: string | undefined
  timeoutMs?: number
}

/** Why nothing was had, in words that name no address. */
export class FetchFault extends Error {
  constructor(words: string) {
    super(words)
    this.name = 'FetchFault'
  }
}

const LARGEST = 10 * 1024 * 1024
const MOST_REDIRECTS = 3
const TIMEOUT_MS = 30_000
const REDIRECTS = [301, 302, 303, 307, 308]

/**
 * A file behind an https address; null where it is what was had before.
 * @throws FetchFault
 */
export async function fetchFile(address: string, settings: FetchSettings): Promise<Fetched | null> {
  const signal = AbortSignal.timeout(settings.timeoutMs ?? TIMEOUT_MS)
  let url = new URL(address)
  for (let hop = 0; hop <= MOST_REDIRECTS; hop++) {
    const answer = await answerOf(url, settings, signal)
    const status = answer.statusCode ?? 0
    if (status === 304) return (answer.destroy(), null)
    if (status === 200) return bodyOf(answer)
    answer.destroy()
    const { location } = answer.headers
    if (!REDIRECTS.includes(status) || !location) throw new FetchFault(`it answers ${status}`)
    if (!URL.canParse(location, url.href)) throw new FetchFault('it leads to an address that cannot be read')
    url = new URL(location, url)
  }
  throw new FetchFault('it leads from one address to the next without end')
}

function answerOf(url: URL, settings: FetchSettings, signal: AbortSignal): Promise<IncomingMessage> {
  const { etag, modified, ownNetwork, trust } = settings
  const refuses = ownNetwork ? isRefusedAddress : isOwnAddress
  if (url.protocol !== 'https:') throw new FetchFault('it leads to an address that is not https')
  // An address in place of a name is never looked up.
  if (isRefusedLiteral(url.hostname, new Set(), refuses)) throw new FetchFault(OWN)
  return new Promise((resolve, reject) => {
    const headers = {
      ...{ Accept: 'text/calendar, text/csv, */*;q=0.5', 'Accept-Encoding': 'identity', 'User-Agent': 'daysix' },
      ...(etag !== '' && { 'If-None-Match': etag }),
      ...(modified !== '' && { 'If-Modified-Since': modified }),
    }
    const lookup = guardedLookup(new Set(), refuses)
    const asked = ask(url, { headers, signal, lookup, agent: false, ...(trust !== undefined && { ca: trust }) })
    asked.on('response', resolve)
    asked.on('error', (error) => reject(faultOf(error)))
    asked.end()
  })
}

const OWN = 'it is an address of this machine or its network, which its description does not allow'

async function bodyOf(answer: IncomingMessage): Promise<Fetched> {
  const { headers } = answer
  if ((headers['content-encoding'] ?? 'identity') !== 'identity') {
    answer.destroy()
    throw new FetchFault('it answers in a packed form that nobody asked for')
  }
  const bytes = await bytesOf(answer, LARGEST, 'it is larger than 10 MB').catch((error: Error) => {
    throw faultOf(error)
  })
  return { bytes, etag: headers.etag ?? '', modified: headers['last-modified'] ?? '' }
}

/** All of an answer. @throws FetchFault in these words where it has more bytes than that */
export async function bytesOf(answer: AsyncIterable<Buffer>, most: number, tooLarge: string): Promise<Buffer> {
  const chunks: Buffer[] = []
  let size = 0
  for await (const chunk of answer) {
    chunks.push(chunk)
    if ((size += chunk.length) > most) throw new FetchFault(tooLarge)
  }
  return Buffer.concat(chunks)
}

/** By the code alone: a message of the system may name the address. */
function faultOf(error: Error): FetchFault {
  if (error instanceof FetchFault) return error
  if (error instanceof EgressRefused) return new FetchFault(OWN)
  const code = 'code' in error ? String(error.code) : ''
  if (error.name === 'AbortError' || error.name === 'TimeoutError' || code === 'ABORT_ERR')
    return new FetchFault('it takes longer than half a minute')
  if (UNTRUSTED.test(code)) return new FetchFault('its certificate does not hold')
  return new FetchFault(
    code === 'ECONNREFUSED' || code === 'ENOTFOUND' ? 'nobody answers there' : 'the connection broke',
  )
}
