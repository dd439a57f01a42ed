import type { WorkerRecords } from '../../../flows/ports/deps.ts'
import { prepared } from '../prepared-statements.ts'
import type { Db } from '../connections.ts'

const BEAT = prepared('insert into worker (id) values ($1) on conflict (id) do update set seen_at = now()')
const FORGET_SILENT = prepared<{ id: string }>(
  'delete from worker where seen_at < now() - make_interval(secs => $1) returning id',
)
const ENSURE = prepared('insert into worker (id) values ($1) on conflict do nothing')

export function workerRecords(db: Db): WorkerRecords {
  return {
    beat: async (id) => {
      await db.write(BEAT, [id])
    },
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
