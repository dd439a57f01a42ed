import { sql } from 'kysely'
import type { Slot } from '../../../domain/visits/slot.ts'
import type { Occupant, SlotRecords } from '../../../flows/ports/deps.ts'
import { asJson, prepared } from '../prepared-statements.ts'
import type { SlotTable } from '../tables.ts'
import type { Db } from '../connections.ts'

const toSlot = (row: SlotTable): Slot => ({
  id: row.id,
  clinicId: row.clinic_id,
  clinician: row.clinician,
  startsAt: row.starts_at,
  state: row.state,
  bookingId: row.booking_id,
  heldUntil: row.held_until,
  minutes: row.minutes,
  endsAt: row.ends_at,
  overbooked: row.overbooked,
})

const FREE = { state: 'free' as const, booking_id: null, held_until: null, ends_at: null }
const FREED = `state = 'free', booking_id = null, held_until = null, ends_at = null`

/** Free, or held by this booking itself, or held by somebody whose time is up; and long enough. */
const within = ({ id, minutes }: Occupant, now: Date) =>
  sql<boolean>`(slot.minutes is null or slot.minutes >= ${minutes}) and (slot.state = 'free' or
    (slot.state = 'held' and (slot.booking_id = ${id} or slot.held_until <= ${now})))`

const isBusy = ({ id, minutes }: Occupant, now: Date) =>
  sql<boolean>`is_busy(slot.clinic_id, slot.clinician, slot.starts_at, ${minutes}, ${id}, ${now})`

/** Nobody else can have it then; whoever was overbooked beside does not take it away. */
const isHeldBy = ({ id }: Occupant, now: Date) =>
  sql<boolean>`(slot.state = 'held' and slot.booking_id = ${id} and slot.held_until > ${now})`

const ADD = prepared<{
  id: string
}>(`insert into slot (id, clinic_id, clinician, starts_at, state, booking_id, held_until, minutes)
  select id, clinic_id, clinician, starts_at, state, booking_id, held_until, minutes
  from json_populate_recordset(null::slot, $1)
  on conflict do nothing returning id`)
/** What was held for others too long ago is in nobody's way; PostgreSQL, which knows no clock, would not have it so. */
const LET_GO = prepared(`update slot set ${FREED} where clinic_id = $1 and clinician = $2 and state = 'held'
  and held_until <= $3 and booking_id <> $4 and starts_at < $5::timestamptz + $6::integer * interval '1 minute'
  and ends_at > $5`)
/** The same, of an existing time. */
const LET_GO_BESIDE = prepared(`update slot set ${FREED} from slot mine where mine.id = $1
  and slot.clinic_id = mine.clinic_id and slot.clinician = mine.clinician and slot.state = 'held'
  and slot.held_until <= $2 and slot.booking_id <> $3
  and slot.starts_at < mine.starts_at + $4::integer * interval '1 minute' and slot.ends_at > mine.starts_at`)
const ENDS = `$4::timestamptz + $6::integer * interval '1 minute'`
const TAKE = prepared<{
  id: string
}>(`insert into slot (id, clinic_id, clinician, starts_at, state, booking_id, ends_at)
  select $1, $2, $3, $4, 'taken', $5, ${ENDS} where not is_busy($2, $3, $4, $6, $5, $7)
  on conflict (clinic_id, clinician, starts_at) where not overbooked
  do update set state = 'taken', booking_id = excluded.booking_id, held_until = null, ends_at = excluded.ends_at
  where slot.state = 'free' or (slot.state = 'held' and (slot.booking_id = $5 or slot.held_until <= $7))
  returning id`)
const TAKE_BESIDE = prepared(`insert into slot
    (id, clinic_id, clinician, starts_at, state, booking_id, ends_at, overbooked)
  values ($1, $2, $3, $4, 'taken', $5, ${ENDS}, true)`)
const BUSY_THEN = prepared<{ busy: boolean }>('select is_busy($1, $2, $3, $5, $4, $6) as busy')
const LEAVE_BESIDE = prepared(`delete from slot where booking_id = $1 and starts_at = $2 and overbooked`)
const LEAVE = prepared(`update slot set ${FREED} where booking_id = $1 and starts_at = $2 and not overbooked`)

const RELEASE_EXPIRED = prepared<{ id: string }>(`update slot set ${FREED}
  where state = 'held' and held_until <= $1 returning id`)

export function slotRecords(db: Db): SlotRecords {
  return {
    list: async ({ clinicId, from, to, states, fits, notBusy, limit }) => {
      let query = db.selectFrom('slot').selectAll().where('clinic_id', '=', clinicId).where('starts_at', '>=', from)
      if (to) query = query.where('starts_at', '<', to)
      if (states) query = query.where('state', 'in', states)
      if (fits) query = query.where(within(fits.visit, fits.now)).where(({ not }) => not(isBusy(fits.visit, fits.now)))
      if (notBusy)
        query = query.where(
          sql<boolean>`not is_busy(clinic_id, clinician, starts_at, 1, coalesce(booking_id, ''), ${notBusy})`,
        )
      return (await query.orderBy('starts_at').orderBy('id').limit(limit).execute()).map(toSlot)
    },
    add: async (slots) => {
      const rows = slots.map(({ id, clinicId, clinician, startsAt, minutes }) => {
        return { id, clinic_id: clinicId, clinician, starts_at: startsAt, minutes, ...FREE }
      })
      return new Set((await db.rows(ADD, [asJson(rows)])).map(({ id }) => id))
    },
    remove: async (id, now) => {
      const gone = await db
        .deleteFrom('slot')
        .where('id', '=', id)
        .where((eb) =>
          eb.or([eb('state', '=', 'free'), eb.and([eb('state', '=', 'held'), eb('held_until', '<=', now)])]),
        )
        .returning('id')
        .executeTakeFirst()
      return gone !== undefined
    },
    take: async ({ id, clinicId, clinician, startsAt }, visit, now) => {
      const [, taken] = await Promise.all([
        db.rows(LET_GO, [clinicId, clinician, now, visit.id, startsAt, visit.minutes]),
        db.rows(TAKE, [id, clinicId, clinician, startsAt, visit.id, visit.minutes, now]),
      ])
      return taken.length > 0
    },
    isBusy: async ({ clinicId, clinician, startsAt }, visit, now) => {
      const [row] = await db.rows(BUSY_THEN, [clinicId, clinician, startsAt, visit.id, visit.minutes, now])
      return row!.busy
    },
    takeBeside: async ({ id, clinicId, clinician, startsAt }, visit) => {
      await db.rows(TAKE_BESIDE, [id, clinicId, clinician, startsAt, visit.id, visit.minutes])
    },
    takeHeld: async (id, visit, now) => {
      void db.write(LET_GO_BESIDE, [id, now, visit.id, visit.minutes])
      const row = await db
        .updateTable('slot')
        .set({ state: 'taken', booking_id: visit.id, held_until: null, ends_at: endOf(visit) })
        .where('id', '=', id)
        .where(within(visit, now))
        .where(({ or, not }) => or([isHeldBy(visit, now), not(isBusy(visit, now))]))
        .returningAll()
        .executeTakeFirst()
      return row && toSlot(row)
    },
    hold: async (id, visit, until, now) => {
      void db.write(LET_GO_BESIDE, [id, now, visit.id, visit.minutes])
      const held = await db
        .updateTable('slot')
        .set({ state: 'held', booking_id: visit.id, held_until: until, ends_at: endOf(visit) })
        .where('id', '=', id)
        .where(within(visit, now))
        .where(({ not }) => not(isBusy(visit, now)))
        .returning('id')
        .executeTakeFirst()
      return held !== undefined
    },
    free: async (bookingId, startsAt) => {
      await Promise.all([db.rows(LEAVE_BESIDE, [bookingId, startsAt]), db.rows(LEAVE, [bookingId, startsAt])])
    },
    release: async (bookingId) => {
      await db.updateTable('slot').set(FREE).where('booking_id', '=', bookingId).where('state', '=', 'held').execute()
    },
    releaseExpired: async (now) => (await db.rows(RELEASE_EXPIRED, [now])).length,
  }
}

const endOf = ({ minutes }: Occupant) => sql<Date>`starts_at + ${minutes}::integer * interval '1 minute'`
