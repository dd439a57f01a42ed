import type { Logger } from 'pino'
import type { CheckLine } from '../../../domain/schedule/check-line.ts'
import type { Refusal } from '../../../domain/schedule/feed.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { describedFeed } from '../../../flows/schedule/described-feed.ts'
import { takeNews } from '../../../flows/schedule/take-news.ts'
import { codeOf, databaseTrouble } from '../../faults/database-trouble.ts'
import type { FeedMetrics } from '../../metrics/feed-metrics.ts'
import { CODE, notForUs, toPerson } from '../read-context.ts'
import { contextOf } from '../take-bytes.ts'
import { acksOf, type Outcome } from './ack.ts'
import { feedOf } from './feed-of.ts'
import type { Framed } from './mllp.ts'
import { parseHead, text, type Hl7Message } from './parse.ts'
import { readFramed } from './read-framed.ts'
import { typeOf } from './read-siu.ts'

/** Takes what came in a frame. @returns what its sender is answered, once it is kept; it never fails */
export type Answering = (framed: Framed, isStopping: boolean) => Promise<Uint8Array[]>

export interface AnsweringDeps {
  deps: Deps
  log: Logger
  metrics: FeedMetrics
}

const NO_FEED = notForUs(
  CODE.value,
  'MSH^1^3',
  'No feed that is described here takes messages of this application and facility: name them as its hl7Sender.',
)
const AWAY = notForUs(CODE.person, '', 'The database does not answer. Nothing is lost: send it again as it is.')
const STOPPING = notForUs(CODE.person, '', 'The service is stopping. Send it again as it is.')
const UNFORESEEN = toPerson(CODE.person, '', 'Something nobody foresaw kept this message from being taken.')

/** What became of a message, with the message itself, by which it is answered. */
interface Done {
  outcome: Outcome
  message: Hl7Message
}

export function answering({ deps, log, metrics }: AnsweringDeps): Answering {
  const inTurn = turns()
  const answered = ({ outcome, message }: Done): Uint8Array[] => {
    const ids = [deps.newId('k'), deps.newId('k')].map((id) => id.slice(2)) as [string, string]
    const acks = acksOf(message, outcome, { ids, at: deps.clock.now() })
    for (const ack of acks) metrics.acknowledged(Buffer.from(ack).toString('latin1').split('\rMSA|')[1]!.slice(0, 2))
    // An engine shows its own log; here is no more than what finds the message there.
    const said = { id: deps.digest(text(message.segments[0], 10)).slice(0, 12) }
    if (outcome !== 'AA') log.warn({ ...said, ack: outcome.ack, code: outcome.code }, 'a message was refused')
    return acks
  }
  return async (framed, isStopping) => {
    const began = performance.now()
    const head = parseHead('frame' in framed ? framed.frame : framed.head)
    if (head === null) {
      metrics.message('', 'unreadable')
      log.warn('a frame holds no message that could be answered')
      return []
    }
    if (typeOf(head).type === 'ACK') {
      metrics.message('', 'acknowledgement')
      return []
    }
    const feed = feedOf(deps.feeds.values(), head)
    if (isStopping || !feed) {
      metrics.message(feed?.name ?? '', feed ? 'later' : 'no-feed')
      return answered({ outcome: feed ? STOPPING : NO_FEED, message: head })
    }
    const done = await inTurn(feed.name, () => take({ deps, log, metrics }, feed.name, framed, head))
    if (done.outcome !== AWAY) metrics.kept((performance.now() - began) / 1000)
    return answered(done)
  }
}

async function take(all: AnsweringDeps, name: string, framed: Framed, head: Hl7Message): Promise<Done> {
  const { deps, metrics } = all
  try {
    const feed = await describedFeed(deps, name)
    const { read, message } = readFramed(framed, feed, await contextOf(deps, name))
    const lines = await takeNews(deps, name, [read])
    for (const { does } of lines) metrics.message(name, does)
    return { outcome: 'ack' in read ? read : outcomeOf(lines), message: message ?? head }
  } catch (error) {
    return { outcome: await failed(all, name, error), message: head }
  }
}

/** What could not be used is a code that nobody mapped, or what it would have led to. */
function outcomeOf(lines: readonly CheckLine[]): Outcome {
  const refused = lines.find(({ ack }) => ack !== 'AA')
  if (!refused) return 'AA'
  return { ack: refused.ack === 'AR' ? 'AR' : 'AE', code: CODE.value, at: '', why: refused.why ?? '' }
}

/** Aborted so that another transaction could go on (PostgreSQL, Appendix A, class 40). */
const isConflict = (error: unknown) => codeOf(error)?.startsWith('40') === true

/**
 * Where the database is away it comes again as it is. Anything else would meet it again: a person is told, and the
 * sender's other messages go on.
 */
async function failed({ deps, log, metrics }: AnsweringDeps, name: string, error: unknown): Promise<Refusal> {
  const trouble = databaseTrouble(error) ?? (isConflict(error) ? 'conflict' : null)
  log.error({ name: error instanceof Error ? error.name : typeof error, code: codeOf(error), trouble }, 'not taken')
  if (trouble === null) {
    const told = await takeNews(deps, name, [UNFORESEEN]).catch(() => null)
    if (told) {
      metrics.message(name, 'refuse')
      return UNFORESEEN
    }
  }
  metrics.message(name, 'later')
  return AWAY
}

/** One after the other for each name: they would wait for each other in the database, and hold its connections. */
function turns() {
  const last = new Map<string, Promise<unknown>>()
  return <T>(name: string, work: () => Promise<T>): Promise<T> => {
    const mine = (last.get(name) ?? Promise.resolve()).then(work)
    last.set(
      name,
      mine.catch(() => {}),
    )
    return mine
  }
}
