import { readFile } from 'node:fs/promises'
import { noteFault, noteHeard } from '../../../flows/schedule/source-notes.ts'
import { describedFeed } from '../../../flows/schedule/described-feed.ts'
import { takeNews } from '../../../flows/schedule/take-news.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { startRhythm } from '../../worker/rhythm.ts'
import { readFhir } from '../fhir/read-fhir.ts'
import { FetchFault } from '../fetch-file.ts'
import { contextOf } from '../take-bytes.ts'
import { askServer, type ServerWay } from './ask-server.ts'
import { askToken, type Token, type TokenSettings } from './token.ts'

/** A FHIR server whose appointments are asked for again and again. */
export interface ServerSettings {
  ownNetwork: boolean
  /** A file of certificates that are trusted in place of the usual ones. */
  ca?: string | undefined
  base: string
  everyMinutes: number
  /** What is asked for; `_lastUpdated` and `_count` are added. */
  search: string
  token: TokenSettings | null
}

/** What one process remembers between two looks; where it stood is kept in the database. */
export interface ServerMemory {
  token: Token | null
  failures: number
  /** Not asked before: the server wished so. */
  notBefore: Date | null
}

export const newServerMemory = (): ServerMemory => ({ token: null, failures: 0, notBefore: null })

const MINUTE_MS = 60_000
/** Clocks differ, and what was being written as we asked is dated before. Told twice is harmless. */
const OVERLAP_MS = 5 * MINUTE_MS
/** At the first look: what was changed in these days. */
const FIRST_MS = 31 * 24 * 60 * MINUTE_MS
const MOST_PAGES = 500
const SEVERAL = 3
const SAID_AGAIN = 200

/** What is told within this process; see `ChangeFeed`. */
export interface Pings {
  listen(listener: (told: { what: string; ids: Record<string, string> }) => void, goodbye: () => void): () => void
}

/** What a server's ping is told as. */
export const PING = 'schedule-ping'

/** Looks now and in a steady rhythm, and at once when the server pings. @returns how to stop */
export function startServer(
  deps: Deps,
  feed: string,
  settings: ServerSettings,
  pings: Pings,
  onError: (error: Error) => void,
): () => Promise<void> {
  const memory = newServerMemory()
  let looking: Promise<void> = Promise.resolve()
  // One after the other: what is pinged while a look is under way may have come too late for it.
  const next = () => (looking = looking.catch(() => {}).then(() => lookOnce(deps, feed, settings, memory)))
  const stop = startRhythm(settings.everyMinutes * MINUTE_MS, next, onError)
  const ping = ({ what, ids }: { what: string; ids: Record<string, string> }) => {
    if (what === PING && ids.feed === feed) void next().catch(onError)
  }
  const deaf = pings.listen(ping, () => {})
  return async () => {
    deaf()
    await stop()
    await looking.catch(() => {})
  }
}

/**
 * Takes what a server says has changed since the last look. Where it cannot be asked, that is said on the feed's page
 * after several times, and the next look begins where this one did.
 */
export async function lookOnce(
  deps: Deps,
  feed: string,
  settings: ServerSettings,
  memory: ServerMemory,
): Promise<void> {
  const now = deps.clock.now()
  if (memory.notBefore && memory.notBefore > now) return
  try {
    await look(deps, feed, settings, memory, now)
    memory.failures = 0
  } catch (error) {
    if (!(error instanceof FetchFault)) throw error
    memory.token = null
    memory.failures++
    if (memory.failures % SAID_AGAIN === SEVERAL) await noteFault(deps, feed, wordsOf(error, memory.failures))
  }
}

const wordsOf = ({ message }: FetchFault, times: number) =>
  `The server of this schedule could not be asked ${times} times one after the other: ${message}. It is tried again.`

async function look(
  deps: Deps,
  name: string,
  settings: ServerSettings,
  memory: ServerMemory,
  now: Date,
): Promise<void> {
  const since = (await deps.store.read.feeds.polledTo(name)) ?? new Date(now.getTime() - FIRST_MS)
  const feed = await describedFeed(deps, name)
  const base = settings.base.replace(/\/$/, '')
  const way = await wayOf(settings)
  const context = await contextOf(deps, base, base)
  let next: URL | null = firstPage(base, settings.search, since)
  for (let page = 0; next; page++) {
    if (page >= MOST_PAGES) throw new FetchFault('its pages have no end')
    const bundle = await pageAt(next, settings, { way, memory, deps })
    if (bundle === null) return
    await takeNews(deps, name, readFhir(bundle, feed, context))
    next = nextOf(bundle, next)
  }
  await deps.store.transact((tx) => tx.feeds.notePolled(name, new Date(now.getTime() - OVERLAP_MS)))
  await noteHeard(deps, name)
}

/** Files of certificates are read at each look: they are renewed. */
async function wayOf({ ownNetwork, ca }: ServerSettings): Promise<ServerWay> {
  if (ca === undefined) return { ownNetwork }
  const read = readFile(ca, 'utf8').catch(() => {
    throw new FetchFault('the file of its certificate cannot be read')
  })
  return { ownNetwork, ca: await read }
}

function firstPage(base: string, search: string, since: Date): URL {
  const url = new URL(`${base}/${search}`)
  url.searchParams.set('_lastUpdated', `ge${since.toISOString()}`)
  if (!url.searchParams.has('_count')) url.searchParams.set('_count', '100')
  return url
}

/** One page; null where the server wants to be left alone for a while. */
async function pageAt(
  url: URL,
  settings: ServerSettings,
  { way, memory, deps }: { way: ServerWay; memory: ServerMemory; deps: Deps },
): Promise<object | null> {
  const now = deps.clock.now()
  if (settings.token && (!memory.token || memory.token.until <= now)) {
    const asked = { base: settings.base.replace(/\/$/, ''), way, now, jti: deps.newId('t') }
    memory.token = await askToken(settings.token, asked)
  }
  const headers = memory.token ? { Authorization: `Bearer ${memory.token.value}` } : {}
  const { status, json, retryAfter } = await askServer({ url, headers }, way)
  if (status === 429 || status === 503) {
    memory.notBefore = new Date(now.getTime() + (retryAfter ?? 60) * 1000)
    return null
  }
  const isBundle = typeof json === 'object' && json !== null && 'resourceType' in json && json.resourceType === 'Bundle'
  if (status !== 200 || !isBundle) throw new FetchFault(`it answers ${status}`)
  return json
}

/** The next page as the server names it: opaque, but never of another server, which must not see our token. */
function nextOf(bundle: object, from: URL): URL | null {
  const links = 'link' in bundle && Array.isArray(bundle.link) ? (bundle.link as unknown[]) : []
  const isNext = (link: unknown): link is { relation: string; url: string } =>
    typeof link === 'object' && link !== null && 'relation' in link && link.relation === 'next' && 'url' in link
  const found = links.find(isNext)
  if (!found) return null
  if (!URL.canParse(String(found.url), from.href)) throw new FetchFault('the address of its next page cannot be read')
  const next = new URL(String(found.url), from)
  if (next.origin !== from.origin) throw new FetchFault('its next page is of another server')
  return next
}
