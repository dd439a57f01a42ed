import { sql } from 'kysely'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { BookingQuery, BookingRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertRows, rowsOf } from '../prepared-statements.ts'
import type { BookingTable, Db } from '../tables.ts'

function toRow(booking: Booking, vault: Vault): BookingTable {
  return {
    id: booking.id,
    patient_id: booking.patientId,
    clinic_id: booking.clinicId,
    clinician: booking.clinician,
    protocol: booking.protocol,
    visit_at: booking.visitAt,
    zone: booking.zone,
    state: booking.state,
    plan_revision: booking.planRevision,
    plan_basis: booking.planBasis,
    confirmed_at: booking.confirmedAt,
    short_notice: booking.shortNotice,
    sealed_lapses: booking.lapses.length === 0 ? null : vault.seal(JSON.stringify(booking.lapses)),
    created_at: booking.createdAt,
    first_visit_at: booking.firstVisitAt,
    moves: booking.moves,
  }
}

function toBooking(row: BookingTable, vault: Vault): Booking {
  return {
    id: row.id,
    patientId: row.patient_id,
    clinicId: row.clinic_id,
    clinician: row.clinician,
    protocol: row.protocol,
    visitAt: row.visit_at,
    firstVisitAt: row.first_visit_at,
    moves: row.moves,
    zone: row.zone,
    state: row.state,
    planRevision: row.plan_revision,
    planBasis: row.plan_basis,
    confirmedAt: row.confirmed_at,
    shortNotice: row.short_notice,
    lapses: row.sealed_lapses === null ? [] : (JSON.parse(vault.open(row.sealed_lapses)) as string[]),
    createdAt: row.created_at,
  }
}

function selection(db: Db, { clinicId, from, to, state, patientIds, newestFirst, after, limit }: BookingQuery) {
  const order = newestFirst ? 'desc' : 'asc'
  let query = db.selectFrom('booking').selectAll().orderBy('visit_at', order).orderBy('id', order).limit(limit)
  if (clinicId) query = query.where('clinic_id', '=', clinicId)
  if (from) query = query.where('visit_at', '>=', from)
  if (to) query = query.where('visit_at', '<', to)
  if (state) query = query.where('state', '=', state)
  if (patientIds) query = query.where('patient_id', 'in', patientIds)
  if (after) query = query.where(({ eb, refTuple, tuple }) => eb(refTuple('visit_at', 'id'), '>', tuple(after.visitAt, after.id)))
  return query
}

const COLUMNS = `id, patient_id, clinic_id, clinician, protocol, visit_at, zone, state, plan_revision,
  plan_basis, confirmed_at, short_notice, sealed_lapses, created_at, first_visit_at, moves`
/** Not for update: what refers to a visit that is locked may be added meanwhile. */
const lockingOf = (patients: string, from: string) => `select ${COLUMNS} from booking
  where patient_id = any(${patients}) and state = 'booked' and visit_at >= ${from}
  order by id for no key update`
const OF_PATIENTS = lockingOf('$1', '$2')
const AT_NUMBER = lockingOf(
  'array(select id from patient where phone_print = $1 and clinic_id = $2)',
  '$3',
)

function lockingToCome(
  whose: Parameters<BookingRecords['lockToCome']>[0],
  from: Date,
  vault: Vault,
): [text: string, params: unknown[]] {
  if ('patientIds' in whose) return [OF_PATIENTS, [[...whose.patientIds], from]]
  return [AT_NUMBER, [vault.fingerprint(whose.phone), whose.clinicId, from]]
}

/** Those of these that exist, in any order. */
export async function bookingsById(db: Db, vault: Vault, ids: readonly string[]): Promise<Booking[]> {
  if (ids.length === 0) return []
  return (await db.selectFrom('booking').selectAll().where('id', 'in', [...ids]).execute()).map((row) => toBooking(row, vault))
}

export function bookingRecords(db: Db, vault: Vault): BookingRecords {
  const one = (id: string) => db.selectFrom('booking').selectAll().where('id', '=', id)
  return {
    get: async (id) => {
      const row = await one(id).executeTakeFirst()
      return row && toBooking(row, vault)
    },
    lock: async (id) => {
      const row = await one(id).forNoKeyUpdate().executeTakeFirst()
      return row && toBooking(row, vault)
    },
    lockToCome: async (whose, from) => {
      const rows = await rowsOf<BookingTable>(db, ...lockingToCome(whose, from, vault))
      return rows.map((row) => toBooking(row, vault))
    },
    plannedOtherwise: async (protocol, digest, after, limit) => {
      const rows = await db
        .selectFrom('booking')
        .selectAll()
        .where('state', '=', 'booked')
        .where('protocol', '=', protocol)
        // Not "other than", which would read every visit of the protocol: the index knows what lies on either side of it.
        .where((eb) => eb.or([eb('plan_basis', '<', digest), eb('plan_basis', '>', digest)]))
        .where('visit_at', '>', after)
        .orderBy('visit_at')
        .limit(limit)
        .execute()
      return rows.map((row) => toBooking(row, vault))
    },
    list: async (query) => (await selection(db, query).execute()).map((row) => toBooking(row, vault)),
    many: (ids) => bookingsById(db, vault, ids),
    countByDay: async ({ clinicId, from, to, zone }) => {
      const date = sql<string>`to_char(visit_at at time zone ${zone}, 'YYYY-MM-DD')`.as('date')
      const visits = db
        .selectFrom('booking')
        .select(date)
        .where('clinic_id', '=', clinicId)
        .where('state', '=', 'booked')
        .where('visit_at', '>=', from)
        .where('visit_at', '<', to)
        .as('visit')
      const rows = await db.selectFrom(visits).select(['visit.date', (eb) => eb.fn.countAll().as('count')]).groupBy('visit.date').orderBy('visit.date').execute()
      return rows.map((row) => ({ date: row.date, visits: Number(row.count) }))
    },
    insert: async (booking) => {
      await insertRows(db, 'booking', [toRow(booking, vault)])
    },
    update: async (booking) => {
      const { id, ...changes } = toRow(booking, vault)
      await db.updateTable('booking').set(changes).where('id', '=', id).execute()
    },
  }
}
