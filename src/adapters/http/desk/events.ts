import type { RequestHandler } from 'express'
import type { NewsDesk } from '../news.ts'

/** Changes come in bursts, and are told inside the transaction that makes them: one word a little later serves both. */
const GATHER_MS = 300
/** Proxies drop what is silent for a minute. */
const SIGN_OF_LIFE_MS = 25_000

/** Server-sent events (WHATWG HTML, 9.2): a `news` event after changes, for pages that then fetch themselves anew. */
export function events(news: NewsDesk): RequestHandler {
  return (request, response) => {
    response.status(200).set({ 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store', 'X-Accel-Buffering': 'no' })
    response.write('retry: 3000\n\n')
    let gathering: NodeJS.Timeout | undefined
    const say = () => {
      gathering = undefined
      response.write('event: news\ndata: changed\n\n')
    }
    const stop = news.listen(
      () => (gathering ??= setTimeout(say, GATHER_MS)),
      () => response.end(),
    )
    const beat = setInterval(() => response.write(': here\n\n'), SIGN_OF_LIFE_MS)
    request.on('close', () => {
      stop()
      clearTimeout(gathering)
      clearInterval(beat)
    })
  }
}
