import { createHash } from 'node:crypto'
import { basename } from 'node:path'
import type { Whole } from '../../domain/schedule/completeness.ts'
import { noteFault, noteHeard } from '../../flows/schedule/source-notes.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import { startRhythm } from '../worker/rhythm.ts'
import type { FeedSources } from './feed-file.ts'
import { FetchFault, fetchFile, type Fetched } from './fetch-file.ts'
import { takeBytes } from './take-bytes.ts'

export interface Polled {
  feed: string
  address: NonNullable<FeedSources['address']>
  /** A certificate that is trusted beside the usual ones. */
  trust?: string
}

/** What the last answer was known by, and how often there was none since. */
export interface PollMemory {
  etag: string
  modified: string
  /** Of the bytes, since many servers name no version. */
  digest: string
  failures: number
}

export const newMemory = (): PollMemory => ({ etag: '', modified: '', digest: '', failures: 0 })

const MINUTE_MS = 60_000
/** One failure is nobody's business: a server is started anew. */
const SEVERAL = 3
const SAID_AGAIN = 200
/** A calendar shows everything that lies ahead; nobody books longer before. */
const AHEAD_MS = 10 * 366 * 86_400_000

/**
 * Fetches a feed's calendar or table again and again.
 * @param onError for what is no fault of the address, such as a database that is away: it is fetched again
 * @returns how to stop: what is being taken is finished
 */
export function startPolling(deps: Deps, polled: Polled, onError: (error: Error) => void): () => Promise<void> {
  const memory = newMemory()
  return startRhythm(polled.address.everyMinutes * MINUTE_MS, () => pollOnce(deps, polled, memory), onError)
}

/** One look. What could not be kept is not remembered, and so fetched again. */
export async function pollOnce(deps: Deps, polled: Polled, memory: PollMemory): Promise<void> {
  const { feed, address, trust } = polled
  const { etag, modified } = memory
  const asked = { etag, modified, ownNetwork: address.ownNetwork, trust }
  const answer = await fetchFile(address.url, asked).catch(faultFrom)
  if (answer instanceof FetchFault) {
    memory.failures++
    if (memory.failures % SAID_AGAIN === SEVERAL) await noteFault(deps, feed, wordsOf(answer, memory.failures))
    return
  }
  memory.failures = 0
  const digest = answer ? createHash('sha256').update(answer.bytes).digest('base64') : memory.digest
  if (!answer || digest === memory.digest) return noteHeard(deps, feed)
  await take(deps, polled, answer)
  Object.assign(memory, { etag: answer.etag, modified: answer.modified, digest })
}

function faultFrom(error: unknown): FetchFault {
  if (error instanceof FetchFault) return error
  throw error
}

const wordsOf = ({ message }: FetchFault, times: number) =>
  `The address of this schedule could not be read ${times} times one after the other: ${message}. It is tried again.`

async function take(deps: Deps, { feed, address }: Polled, { bytes }: Fetched): Promise<void> {
  const now = deps.clock.now()
  const whole: Whole = { from: now, to: new Date(now.getTime() + AHEAD_MS) }
  const name = basename(new URL(address.url).pathname)
  await takeBytes(deps, feed, { bytes, name, whole: isWholeCalendar(bytes) ? whole : undefined })
}

/** A calendar to its very end: of one that broke off nothing is known to be absent. */
function isWholeCalendar(bytes: Uint8Array): boolean {
  const text = (part: Uint8Array) => Buffer.from(part).toString('latin1').replace('\u00ef\u00bb\u00bf', '').trim()
  return /^BEGIN:VCALENDAR/i.test(text(bytes.subarray(0, 200))) && /END:VCALENDAR$/i.test(text(bytes.subarray(-200)))
}
