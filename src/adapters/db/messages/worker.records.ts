import type { WorkerRecords } from '../../../flows/ports/deps.ts'
import { MOST_OFFSET_MS } from '../../../domain/messages/yield-claims.ts'
import { prepared } from '../prepared-statements.ts'
import type { Db } from '../connections.ts'

const BEAT = prepared<{ others: number }>(`with beaten as (
    insert into worker (id, clock_offset_ms) values ($1, $2)
    on conflict (id) do update set seen_at = now(),
      clock_offset_ms = coalesce(excluded.clock_offset_ms, worker.clock_offset_ms))
  select count(*)::int as others from worker where id <> $1 and seen_at > now() - make_interval(secs => $3)
    and abs(coalesce(clock_offset_ms, 0)) <= $4`)
/** One that has missed more than two beats is not counted on. */
const HEARD_SECONDS = 15
const FORGET_SILENT = prepared<{ id: string }>(
  'delete from worker where seen_at < now() - make_interval(secs => $1) returning id',
)
const ENSURE = prepared('insert into worker (id) values ($1) on conflict do nothing')

export function workerRecords(db: Db): WorkerRecords {
  return {
    beat: async (id, offsetMs = null) =>
      (await db.rows(BEAT, [id, offsetMs, HEARD_SECONDS, MOST_OFFSET_MS]))[0]!.others,
    ensure: (id) => db.write(ENSURE, [id]),
    leave: async (id) => {
      await db.deleteFrom('worker').where('id', '=', id).execute()
    },
    forgetSilent: async (seconds) => (await db.rows(FORGET_SILENT, [seconds])).length,
    forgetOthers: async (id) => {
      await db.deleteFrom('worker').where('id', '<>', id).execute()
    },
  }
}
