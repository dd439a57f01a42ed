import { sql } from 'kysely'
import type { LastBackup, Sample, StandingRecords, WorkerHeard } from '../../../flows/ports/deps.ts'
import type { Db } from '../connections.ts'

const HOUR_MS = 3_600_000

export function standingRecords(db: Db): StandingRecords {
  return {
    workers: () => workersHeard(db),
    lastBackup: () => lastBackup(db),
    sample: (at, now, sweepSeconds) => sample(db, at, now, sweepSeconds),
    forgetSamples: async (before) => {
      await db.deleteFrom('figure_sample').where('at', '<', before).execute()
    },
    samples: (since) => samples(db, since),
  }
}

async function workersHeard(db: Db): Promise<WorkerHeard[]> {
  const { rows } = await sql<{ silent: string; off: number | null }>`select
    extract(epoch from now() - seen_at) as silent, clock_offset_ms as off
    from worker order by seen_at`.execute(db)
  return rows.map(({ silent, off }) => ({ silentSeconds: Math.max(0, Number(silent)), clockOffsetMs: off }))
}

async function lastBackup(db: Db): Promise<LastBackup | null> {
  // One that is being made says nothing yet.
  const { rows } = await sql<{
    at: Date
    outcome: string
    bytes: string | null
    detail: string | null
  }>`select at, outcome, bytes, detail from backup_run where outcome <> 'begun' order by at desc limit 1`.execute(db)
  return rows[0] ? { ...rows[0], bytes: rows[0].bytes === null ? null : Number(rows[0].bytes) } : null
}

/** Nothing is counted where the moment is written down already. Each count reads a partial index. */
async function sample(db: Db, at: Date, now: Date, sweepSeconds: number | null): Promise<boolean> {
  const since = new Date(now.getTime() - HOUR_MS)
  const { numAffectedRows } = await sql`insert into figure_sample
    (at, overdue, oldest_seconds, sent, not_arrived, urgent_calls, workers, sweep_seconds)
    select ${at}::timestamptz,
      (select count(*) from message where state = 'planned' and send_at < ${now}) +
        (select count(*) from message where state = 'queued' and send_at < ${now}),
      coalesce(extract(epoch from ${now}::timestamptz - least(
        (select min(send_at) from message where state = 'planned' and send_at < ${now}),
        (select min(send_at) from message where state = 'queued' and send_at < ${now}))), 0),
      (select count(*) from message where sent_at > ${since} and sent_at <= ${now}),
      (select count(*) from message where state in ('failed', 'undelivered', 'expired')
        and ended_at > ${since} and ended_at <= ${now}),
      (select count(*) from follow_up where closed_at is null and urgency = 1),
      (select count(*) from worker),
      ${sweepSeconds}::real
    where not exists (select from figure_sample where at = ${at})
    on conflict do nothing`.execute(db)
  return numAffectedRows === 1n
}

async function samples(db: Db, since: Date): Promise<Sample[]> {
  const rows = await db.selectFrom('figure_sample').selectAll().where('at', '>=', since).orderBy('at').execute()
  return rows.map((row) => ({
    at: row.at,
    overdue: row.overdue,
    oldestSeconds: row.oldest_seconds,
    sent: row.sent,
    notArrived: row.not_arrived,
    urgentCalls: row.urgent_calls,
    workers: row.workers,
    sweepSeconds: row.sweep_seconds,
  }))
}
