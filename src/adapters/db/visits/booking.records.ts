import { sql } from 'kysely'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Outcome } from '../../../domain/visits/outcome.ts'
import type { BookingQuery, BookingRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto, prepared, type PreparedStatement } from '../prepared-statements.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { BookingTable } from '../tables.ts'
import type { Db } from '../connections.ts'

const COLUMNS = [
  'id',
  'patient_id',
  'clinic_id',
  'clinician',
  'protocol',
  'visit_at',
  'zone',
  'state',
  'plan_revision',
  'plan_basis',
  'confirmed_at',
  'short_notice',
  'sealed_lapses',
  'created_at',
  'first_visit_at',
  'moves',
  'purpose',
  'due_by',
  'sealed_needs',
  'outcome',
  'outcome_at',
  'sealed_outcome',
  'minutes',
] as const
/** As older versions wrote them: only read, until everything is sealed. */
const READ = [...COLUMNS, 'outcome_because', 'outcome_by'] as const
const INSERT = insertInto('booking', COLUMNS)
const BY_IDS = prepared<BookingTable>(`select ${READ.join()} from booking where id = any($1)`)

type Written = Omit<BookingTable, 'outcome_because' | 'outcome_by'>

function toRow(booking: Booking, vault: Vault): Written {
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
    sealed_lapses: wordsIn(vault, 'booking-lapses').seal(booking.lapses, booking.id),
    created_at: booking.createdAt,
    first_visit_at: booking.firstVisitAt,
    moves: booking.moves,
    purpose: booking.purpose,
    due_by: booking.dueBy,
    sealed_needs: wordsIn(vault, 'booking-needs').seal(booking.needs, booking.id),
    outcome: booking.outcome?.kind ?? null,
    outcome_at: booking.outcome?.at ?? null,
    sealed_outcome: sealedOutcome(booking, vault),
    minutes: booking.minutes,
  }
}

/** An empty list is null: nothing was said. */
function wordsIn(vault: Vault, name: 'booking-lapses' | 'booking-needs') {
  const field = sealedField<string[]>(vault, name)
  return {
    seal: (words: readonly string[], id: string) => (words.length === 0 ? null : field.seal([...words], id)),
    open: (sealed: string | null, id: string) => (sealed === null ? [] : field.open(sealed, [id], () => [UNREADABLE])),
  }
}

/** Why nothing was collected tells of bleeding; who wrote it down is nobody else's business. */
type OutcomeWords = Pick<Outcome, 'because' | 'by'>
const outcomeWords = (vault: Vault) => sealedField<OutcomeWords>(vault, 'booking-outcome')
const unreadable = (): OutcomeWords => ({ because: null, by: UNREADABLE })

function sealedOutcome({ id, outcome }: Booking, vault: Vault): string | null {
  return outcome && outcomeWords(vault).seal({ because: outcome.because, by: outcome.by }, id)
}

function outcomeOf(row: BookingTable, vault: Vault): Outcome | null {
  const { id, outcome: kind, outcome_at: at, sealed_outcome: sealed } = row
  if (kind === null || at === null) return null
  const words = sealed === null ? olderWords(row) : outcomeWords(vault).open(sealed, [id], unreadable)
  return { kind, at, ...words }
}

/** As an older version wrote them, or cleared by retention. */
const olderWords = ({ outcome_because, outcome_by }: BookingTable): OutcomeWords => ({
  because: outcome_because,
  by: outcome_by ?? '',
})

function toBooking(row: BookingTable, vault: Vault): Booking {
  return {
    id: row.id,
    patientId: row.patient_id,
    clinicId: row.clinic_id,
    clinician: row.clinician,
    protocol: row.protocol,
    visitAt: row.visit_at,
    minutes: row.minutes,
    firstVisitAt: row.first_visit_at,
    moves: row.moves,
    zone: row.zone,
    state: row.state,
    planRevision: row.plan_revision,
    planBasis: row.plan_basis,
    confirmedAt: row.confirmed_at,
    shortNotice: row.short_notice,
    purpose: row.purpose,
    dueBy: row.due_by,
    lapses: wordsIn(vault, 'booking-lapses').open(row.sealed_lapses, row.id),
    needs: wordsIn(vault, 'booking-needs').open(row.sealed_needs, row.id),
    outcome: outcomeOf(row, vault),
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
  if (after)
    query = query.where(({ eb, refTuple, tuple }) =>
      eb(refTuple('visit_at', 'id'), '>', tuple(after.visitAt, after.id)),
    )
  return query
}

/** What could not be read stays as it is in the database, for whoever may be able to mend it. */
function withoutUnreadable({ lapses, needs, outcome }: Booking, row: Written): Partial<Written> & { id: string } {
  const { sealed_lapses, sealed_needs, sealed_outcome, ...plain } = row
  return {
    ...plain,
    ...(!lapses.includes(UNREADABLE) && { sealed_lapses }),
    ...(!needs.includes(UNREADABLE) && { sealed_needs }),
    ...(outcome?.by !== UNREADABLE && { sealed_outcome }),
  }
}

/** Not for update: what refers to a visit that is locked may be added meanwhile. */
const lockingOf = (patients: string, from: string) =>
  prepared<BookingTable>(`select ${READ.join()} from booking
    where patient_id = any(${patients}) and state = 'booked' and visit_at >= ${from}
    order by id for no key update`)
const OF_PATIENTS = lockingOf('$1', '$2')
const AT_NUMBER = lockingOf('array(select id from patient where phone_print = $1 and clinic_id = $2)', '$3')

function lockingToCome(
  whose: Parameters<BookingRecords['lockToCome']>[0],
  from: Date,
  vault: Vault,
): [statement: PreparedStatement<BookingTable>, values: unknown[]] {
  if ('patientIds' in whose) return [OF_PATIENTS, [[...whose.patientIds], from]]
  return [AT_NUMBER, [vault.fingerprint(whose.phone), whose.clinicId, from]]
}

/** Those of these that exist, in any order. */
export async function bookingsById(db: Db, vault: Vault, ids: readonly string[]): Promise<Booking[]> {
  if (ids.length === 0) return []
  return (await db.rows(BY_IDS, [ids])).map((row) => toBooking(row, vault))
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
      const rows = await db.rows(...lockingToCome(whose, from, vault))
      return rows.map((row) => toBooking(row, vault))
    },
    needingOther: async (protocols, after) => {
      const { rows } = await sql<{ protocol: string; visits: number; next: Date; zone: string }>`
        select protocol, count(*)::integer as visits, min(visit_at) as next,
          (array_agg(zone order by visit_at))[1] as zone
        from booking
        where state = 'booked' and visit_at > ${after} and protocol <> all(${[...protocols]}::text[])
        group by protocol order by protocol`.execute(db)
      return rows
    },
    plannedOtherwise: async (protocol, digest, after, limit) => {
      const rows = await db
        .selectFrom('booking')
        .selectAll()
        .where('state', '=', 'booked')
        .where('protocol', '=', protocol)
        // Not "other than", which would read every visit of the protocol: the index knows what lies on either side of
        // it.
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
      const rows = await db
        .selectFrom(visits)
        .select(['visit.date', (eb) => eb.fn.countAll().as('count')])
        .groupBy('visit.date')
        .orderBy('visit.date')
        .execute()
      return rows.map((row) => ({ date: row.date, visits: Number(row.count) }))
    },
    insert: (booking) => db.insert(INSERT, [toRow(booking, vault)]),
    update: async (booking) => {
      const { id, ...changes } = withoutUnreadable(booking, toRow(booking, vault))
      await db.updateTable('booking').set(changes).where('id', '=', id).execute()
    },
  }
}
