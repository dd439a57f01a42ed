import type { Request, RequestHandler } from 'express'
import { Failure } from '../../../domain/failure.ts'
import type { ChangeFeed } from '../change-feed.ts'

/** Changes come in bursts, and are told inside the transaction that makes them: one word a little later serves both. */
const GATHER_MS = 300
/** However much happens, a page is not asked to look again sooner than this. */
const CALM_MS = 3_000
/** Proxies drop what is silent for a minute. */
const SIGN_OF_LIFE_MS = 25_000
/** Pages that one person or program has open at once; browsers open six to one place. */
const MOST_STREAMS = 8

/**
 * Server-sent events (WHATWG HTML, 9.2): a `news` event after changes, for pages that then fetch themselves anew.
 * Before each word it is looked whether whoever listens may still: a stream outlives no session.
 */
export function events(news: ChangeFeed, stillIn: (request: Request) => Promise<boolean>): RequestHandler {
  const open = new Map<string, number>()
  return (request, response) => {
    const leave = enter(open, request)
    response
      .status(200)
      .set({ 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store', 'X-Accel-Buffering': 'no' })
    response.write('retry: 3000\n\n')
    let gathering: NodeJS.Timeout | undefined
    let calmUntil = 0
    const write = async (words: string) => {
      const may = await stillIn(request).catch(() => false)
      if (response.writableEnded) return
      if (may) response.write(words)
      else response.end()
    }
    const say = () => {
      gathering = undefined
      calmUntil = performance.now() + CALM_MS
      void write('event: news\ndata: changed\n\n')
    }
    const stop = news.listen(
      () => (gathering ??= setTimeout(say, Math.max(GATHER_MS, calmUntil - performance.now()))),
      () => response.end(),
    )
    const beat = setInterval(() => void write(': here\n\n'), SIGN_OF_LIFE_MS)
    response.on('close', () => {
      leave()
      stop()
      clearTimeout(gathering)
      clearInterval(beat)
    })
  }
}

/** @returns how to leave. @throws slow-down when somebody has too many open */
function enter(open: Map<string, number>, { actor }: Request): () => void {
  if (!actor || actor.kind === 'local') return () => {}
  const session = `${actor.kind} ${actor.id}`
  const before = open.get(session) ?? 0
  if (before >= MOST_STREAMS)
    throw new Failure('slow-down', { message: 'Too many pages are open at once. Close some of them.' })
  open.set(session, before + 1)
  return () => {
    const left = open.get(session)! - 1
    if (left > 0) open.set(session, left)
    else open.delete(session)
  }
}
