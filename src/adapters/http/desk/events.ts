import type { RequestHandler } from 'express'
import type { ChangeFeed } from '../change-feed.ts'

/** Changes come in bursts, and are told inside the transaction that makes them: one word a little later serves both. */
const GATHER_MS = 300
/** However much happens, a page is not asked to look again sooner than this. */
const CALM_MS = 3_000
/** Proxies drop what is silent for a minute. */
const SIGN_OF_LIFE_MS = 25_000

/** Server-sent events (WHATWG HTML, 9.2): a `news` event after changes, for pages that then fetch themselves anew. */
export function events(news: ChangeFeed): RequestHandler {
  return (_request, response) => {
    response
      .status(200)
      .set({ 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store', 'X-Accel-Buffering': 'no' })
    response.write('retry: 3000\n\n')
    let gathering: NodeJS.Timeout | undefined
    let calmUntil = 0
    const say = () => {
      gathering = undefined
      calmUntil = performance.now() + CALM_MS
      response.write('event: news\ndata: changed\n\n')
    }
    const stop = news.listen(
      () => (gathering ??= setTimeout(say, Math.max(GATHER_MS, calmUntil - performance.now()))),
      () => response.end(),
    )
    const beat = setInterval(() => response.write(': here\n\n'), SIGN_OF_LIFE_MS)
    response.on('close', () => {
      stop()
      clearTimeout(gathering)
      clearInterval(beat)
    })
  }
}
