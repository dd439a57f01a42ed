import { sql } from 'kysely'
import type { Figures } from '../../../flows/ports/deps.ts'
import type { Db } from '../connections.ts'

/** Each count reads a partial index that holds little. */
export async function dispatchFigures(db: Db, now: Date): Promise<Figures> {
  const { rows } = await sql<{ overdue: string; oldest: Date | null; claimed: string; workers: string }>`select
    (select count(*) from message where state = 'queued' and send_at < ${now}) as overdue,
    (select min(send_at) from message where state = 'queued' and send_at < ${now}) as oldest,
    (select count(*) from message where state = 'sending') as claimed,
    (select count(*) from worker) as workers`.execute(db)
  const open = await db
    .selectFrom('follow_up')
    .select(['urgency', (eb) => eb.fn.countAll().as('count')])
    .where('closed_at', 'is', null)
    .groupBy('urgency')
    .execute()
  const [{ overdue, oldest, claimed, workers } = { overdue: 0, oldest: null, claimed: 0, workers: 0 }] = rows
  return {
    overdue: Number(overdue),
    oldestSeconds: oldest ? (now.getTime() - oldest.getTime()) / 1000 : 0,
    claimed: Number(claimed),
    workers: Number(workers),
    followUps: new Map(open.map(({ urgency, count }) => [urgency, Number(count)])),
  }
}
