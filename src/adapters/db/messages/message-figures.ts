import type { MessageFigures } from '../../../flows/ports/deps.ts'
import { prepared } from '../prepared-statements.ts'
import type { Db } from '../connections.ts'

const WAITING = ['planned', 'queued', 'sending'] as const
const ENDED_BADLY = ['failed', 'undelivered', 'expired'] as const
const MOST_TROUBLES = 12
/** In a region hundreds of thousands are planned: nobody needs to know how many exactly, every time a page is shown. */
const COUNTED = 10_000
const COUNTS_TEXT = WAITING.map(
  (state) =>
    `select '${state}' as state, count(*)::int as count from (select 1 from message where state = '${state}' limit ${COUNTED + 1}) m`,
).join(' union all ')
/**
 * Each state has an index of its own in order of time; asked for both at once, the database would read all that is
 * planned.
 */
const OLDEST_DUE_TEXT = `select least(${['planned', 'queued'].map((state) => `(select min(send_at) from message where state = '${state}' and send_at < $1)`).join(', ')}) as due`
const COUNTS = prepared<{ state: (typeof WAITING)[number]; count: number }>(COUNTS_TEXT)
const OLDEST_DUE = prepared<{ due: Date | null }>(OLDEST_DUE_TEXT)

/** Counts for the service page; the partial indexes on waiting and badly ended messages keep it cheap. */
export async function messageFigures(db: Db, now: Date, since: Date): Promise<MessageFigures> {
  const waiting = await db.rows(COUNTS)
  const [oldest] = await db.rows(OLDEST_DUE, [now])
  return {
    waiting: waiting.map(({ state, count }) => ({ state, count: Math.min(count, COUNTED), more: count > COUNTED })),
    oldestDue: oldest!.due,
    troubles: await troubles(db, since),
  }
}

async function troubles(db: Db, since: Date): Promise<MessageFigures['troubles']> {
  const rows = await db
    .selectFrom('message')
    .select(['gateway', 'code', (eb) => eb.fn.countAll().as('count'), (eb) => eb.fn.max('ended_at').as('last')])
    .where('state', 'in', [...ENDED_BADLY])
    .where('ended_at', '>=', since)
    .groupBy(['gateway', 'code'])
    .orderBy('count', 'desc')
    .limit(MOST_TROUBLES)
    .execute()
  return rows.map(({ gateway, code, count, last }) => ({
    gateway,
    code: code ?? 'none given',
    count: Number(count),
    last: last!,
  }))
}
