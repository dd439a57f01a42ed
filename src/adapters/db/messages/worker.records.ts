import { sql } from 'kysely'
import type { WorkerRecords } from '../../../flows/ports/deps.ts'
import { prepared } from '../prepared-statements.ts'
import type { Db } from '../tables.ts'

const ENSURE = prepared('insert into worker (id) values ($1) on conflict do nothing')

export function workerRecords(db: Db): WorkerRecords {
  return {
    beat: async (id) => {
      await db
        .insertInto('worker')
        .values({ id })
        .onConflict((on) => on.column('id').doUpdateSet({ seen_at: sql<Date>`now()` }))
        .execute()
    },
    ensure: (id) => db.write(ENSURE, [id]),
    leave: async (id) => {
      await db.deleteFrom('worker').where('id', '=', id).execute()
    },
    forgetSilent: async (seconds) => {
      const { rows } = await sql`delete from worker where seen_at < now() - make_interval(secs => ${seconds}) returning id`.execute(db)
      return rows.length
    },
    forgetOthers: async (id) => {
      await db.deleteFrom('worker').where('id', '<>', id).execute()
    },
  }
}
