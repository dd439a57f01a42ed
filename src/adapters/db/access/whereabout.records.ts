import type { WhereaboutRecords } from '../../../flows/ports/access.ts'
import type { AccessDb } from '../connections.ts'
import { prepared } from '../prepared-statements.ts'

type Find = (db: AccessDb, id: string) => { execute(): Promise<{ clinic_id: string | null }[]> }

/** What the first letters of an id stand for, and how its clinic is found. */
const BY_PREFIX: Record<string, Find> = {
  b: (db, id) => db.selectFrom('booking').select('clinic_id').where('id', '=', id),
  o: (db, id) => db.selectFrom('slot').select('clinic_id').where('id', '=', id),
  f: (db, id) => db.selectFrom('follow_up').select('clinic_id').where('id', '=', id),
  m: (db, id) => db.selectFrom('message').select('clinic_id').where('id', '=', id),
  r: (db, id) =>
    db
      .selectFrom('offer')
      .innerJoin('booking', 'booking.id', 'offer.booking_id')
      .select('booking.clinic_id')
      .where('offer.id', '=', id),
  // A text that is nobody's in particular is every clinic's to read.
  t: (db, id) => db.selectFrom('reply').select('clinic_id').where('id', '=', id),
  n: (db, id) => db.selectFrom('near_miss').select('clinic_id').where('id', '=', id),
  p: (db, id) => db.selectFrom('patient').select('clinic_id').where('id', '=', id),
}

/** One statement, since every page and every call of the API waits for it. */
const PATIENTS = prepared<{ id: string; patient_id: string | null }>(
  `select id, patient_id from booking where id = any($1)
  union all select f.id, coalesce(f.patient_id, b.patient_id) from follow_up f left join booking b on b.id = f.booking_id
    where f.id = any($1)
  union all select id, patient_id from message where id = any($1)
  union all select id, patient_id from reply where id = any($1)
  union all select id, id from patient where id = any($1)`,
)

export function whereaboutRecords(db: AccessDb): WhereaboutRecords {
  return {
    clinicsOf: async (id) => {
      const find = BY_PREFIX[id.split('_')[0]!]
      return find ? (await find(db, id).execute()).map(({ clinic_id }) => clinic_id) : []
    },
    patientsOf: async (ids) =>
      (await db.rows(PATIENTS, [ids])).map(({ id, patient_id }) => ({ id, patientId: patient_id })),
  }
}
