import { sql } from 'kysely'
import type { RetentionRecords } from '../../../flows/ports/access.ts'
import type { AccessDb } from '../connections.ts'

/** Every id under which somebody with a visit is known: as told with the visit, and what that was merged into. */
const WITH_VISITS = sql`with recursive known (id) as (
    select patient_print from feed_visit where patient_print is not null
    union select a.into_id from known join feed_alias a on a.id = known.id
  )`

/** Of schedules that are kept elsewhere: a visit that lies long before needs nothing more to be known of it. */
export function feedRetention(db: AccessDb): Pick<RetentionRecords, 'removeFeedVisits' | 'removeFeedNotes'> {
  return {
    removeFeedVisits: async (before) => {
      const { numAffectedRows } = await sql`delete from feed_visit
        where coalesce(visit_at, changed_at) <= ${before} and changed_at <= ${before}`.execute(db)
      await sql`${WITH_VISITS} delete from feed_patient
        where changed_at <= ${before} and id not in (select id from known)`.execute(db)
      await sql`${WITH_VISITS} delete from feed_alias
        where changed_at <= ${before} and id not in (select id from known)`.execute(db)
      await sql`delete from feed_resource where at <= ${before}`.execute(db)
      await sql`delete from feed_series where changed_at <= ${before}`.execute(db)
      return Number(numAffectedRows ?? 0)
    },
    removeFeedNotes: async (before) => {
      const seen = await db.deleteFrom('feed_seen').where('at', '<=', before).executeTakeFirst()
      const faults = await db.deleteFrom('feed_fault').where('at', '<=', before).executeTakeFirst()
      await db.deleteFrom('feed_telling').where('ended_at', '<=', before).execute()
      const day = before.toISOString().slice(0, 10)
      await db.deleteFrom('feed_day').where('day', '<', day).execute()
      return Number(seen.numDeletedRows) + Number(faults.numDeletedRows)
    },
  }
}
