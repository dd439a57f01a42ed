import type { Asked } from './growth-service.ts'

type Sql = Asked['sql']

export const CLINICS = 40
const DAYS = 365
/** Visits of one room on one day, every twenty minutes from eight. */
const TIMES_A_DAY = 24
/** Of a hundred visits of a clinic, so many have an opening beside them, and so many of their calls are still open. */
const OPENINGS = 5
const OPEN_CALLS = 2
/** Names that patients have: each has its own words to be found by. */
const NAMES = 5_000

/**
 * Writes visits number `from` to `to`, without `to`, each after the pattern of one that the service has booked itself:
 * every column that is not told otherwise here, the sealed ones above all, is the pattern's own, so the service can
 * open it. Visits are spread evenly over the next year and over the clinics; what would have been sent by now was sent.
 *
 * Set-based, without the checks of foreign keys, and with the indexes made anew afterwards: a million takes minutes.
 */
export async function fill(sql: Sql, patterns: readonly string[], from: number, to: number): Promise<void> {
  await sql(`set session_replication_role = replica; set synchronous_commit = off; set maintenance_work_mem = '256MB'`)
  const rebuild = await withoutIndexes(sql)
  await sql(`create table bench_pattern as select row_number() over (order by id) - 1 as nth, id, patient_id, visit_at, created_at, now() as now
    from daysix.booking where id in (${patterns.map((id) => `'${id}'`).join()})`)
  await sql(`create table bench_visit as select n, n % ${patterns.length} as nth, ${id('b', 'n')} as booking, ${id('p', 'n')} as patient,
      'clinic-' || n % ${CLINICS} as clinic, 'room ' || k / ${DAYS} / ${TIMES_A_DAY} as clinician, ${PRINT} as print,
      date_trunc('day', now()) + (1 + k * 37 % ${DAYS}) * interval '1 day' + interval '8 hours' + (k / ${DAYS} * 7 % ${TIMES_A_DAY}) * interval '20 minutes' as at
    from generate_series(${from}, ${to - 1}) n cross join lateral (select n / ${CLINICS} as k) of_clinic`)
  await sql('analyze bench_pattern; analyze bench_visit')
  for (const { table, joined, own, where = 'true' } of TABLES) await copy(sql, table, joined, own, where)
  await sql(`update daysix.audit_head set (seq, hash) = (select seq, hash from daysix.audit order by seq desc limit 1)`)
  await sql('drop table bench_visit; drop table bench_pattern')
  for (const index of rebuild) await sql(index)
  await sql(`set session_replication_role = origin; set synchronous_commit = on`)
  await sql('vacuum analyze')
}

/** As long as an id of the service, and in the order of the visits' numbers as those are in the order of time. */
const id = (prefix: string, n: string, more = "''") =>
  `'${prefix}_' || lpad(to_hex(${n}), 9, '0') || substr(md5(${n} || '${prefix}' || ${more}), 1, 10)`
/** As long as a keyed hash, and as scattered. */
const hashed = (text: string) => `translate(rtrim(encode(sha256((${text})::text::bytea), 'base64'), '='), '+/', '-_')`
const PRINT = hashed(`'phone' || n`)
/** As many as the pattern has, other ones for each name. */
const WORDS = `(select array_agg(left(${hashed(`'word' || turn || ' of ' || v.n * 31 % ${NAMES}`)}, 16)) from generate_subscripts(t.words, 1) turn)`
/** A message of the pattern, moved with its visit; what was sent on booking was sent some time ago. */
const SEND_AT = `case when t.send_at < p.created_at + interval '1 day' then p.now - (1 + v.n % 60) * interval '1 day' else v.at + (t.send_at - p.visit_at) end`

interface Copied {
  table: string
  /** Where the pattern's rows `t` come from, beside the visit `v` and its pattern `p`. */
  joined: string
  /** Columns that are not as in the pattern. */
  own: Record<string, string>
  where?: string
}

const of = (table: string, key: string) => `join daysix.${table} t on ${key}`
const TABLES: Copied[] = [
  {
    table: 'patient',
    joined: of('patient', 't.id = p.patient_id'),
    own: { id: 'v.patient', phone_print: 'v.print', words: WORDS },
  },
  { table: 'consent', joined: of('consent', 't.patient_id = p.patient_id'), own: { patient_id: 'v.patient' } },
  {
    table: 'booking',
    joined: of('booking', 't.id = p.id'),
    own: {
      id: 'v.booking',
      patient_id: 'v.patient',
      clinic_id: 'v.clinic',
      clinician: 'v.clinician',
      visit_at: 'v.at',
      created_at: `p.now - (1 + v.n % 60) * interval '1 day'`,
    },
  },
  {
    table: 'slot',
    joined: of('slot', 't.booking_id = p.id'),
    own: {
      id: id('o', 'v.n'),
      clinic_id: 'v.clinic',
      clinician: 'v.clinician',
      starts_at: 'v.at',
      booking_id: 'v.booking',
    },
  },
  {
    table: 'slot',
    joined: of('slot', 't.booking_id = p.id'),
    own: {
      id: id('o', 'v.n', `'opening'`),
      clinic_id: 'v.clinic',
      clinician: `'opening'`,
      starts_at: `v.at + v.n / ${CLINICS * DAYS} * interval '1 minute'`,
      state: `'free'`,
      booking_id: 'null',
    },
    where: `v.n / ${CLINICS} % 100 < ${OPENINGS}`,
  },
  {
    table: 'message',
    joined: `join (select *, row_number() over (partition by booking_id order by id) as turn from daysix.message) t on t.booking_id = p.id
      cross join lateral (select ${SEND_AT} as send_at) m`,
    own: {
      id: id('m', 'v.n', 't.turn'),
      booking_id: 'v.booking',
      patient_id: 'v.patient',
      clinic_id: 'v.clinic',
      phone_print: 'v.print',
      visit_at: 'v.at',
      claimed_by: 'null',
      send_at: 'm.send_at',
      not_after: 'm.send_at + (t.not_after - t.send_at)',
      state: `case when m.send_at < p.now then 'delivered' else 'planned' end`,
      sent_at: `case when m.send_at < p.now then m.send_at + interval '1 second' end`,
      ended_at: `case when m.send_at < p.now then m.send_at + interval '5 seconds' end`,
      gateway_ref: `case when m.send_at < p.now then 'network-' || v.n || '-' || t.turn end`,
    },
  },
  {
    table: 'follow_up',
    joined: of('follow_up', 't.booking_id = p.id'),
    own: {
      id: id('f', 'v.n', 't.id'),
      clinic_id: 'v.clinic',
      booking_id: 'v.booking',
      patient_id: 'v.patient',
      closed_at: `case when v.n / ${CLINICS} % 100 >= ${OPEN_CALLS} then p.now end`,
    },
  },
  { table: 'happening', joined: of('happening', 't.booking_id = p.id'), own: { booking_id: 'v.booking' } },
  {
    // Answers to repeated requests are kept for a week: those of the newest bookings.
    table: 'idempotency',
    joined: `join (select *, row_number() over (order by key) - 1 as nth from daysix.idempotency where key like 'pattern-%') t on t.nth = p.nth`,
    own: { key: `'key-' || v.n || '-of-a-booking'`, at: `p.now - v.n % 6 * interval '1 day'` },
    where: 'v.n % 50 = 0',
  },
  // Long as the record is, its links are not made anew: it is read by nobody here.
  {
    table: 'audit',
    joined: `join (select * from daysix.audit where what like 'POST %/bookings' order by seq limit 1) t on true`,
    own: { seq: '(select max(seq) from daysix.audit) + row_number() over (order by v.n)' },
  },
]

async function copy(
  sql: Sql,
  table: string,
  joined: string,
  own: Record<string, string>,
  where: string,
): Promise<void> {
  const columns = await sql(
    `select column_name as name from information_schema.columns where table_schema = 'daysix' and table_name = '${table}' and is_identity = 'NO' order by ordinal_position`,
  )
  const names = columns.map(({ name }) => name as string)
  const values = names.map((name) => own[name] ?? `t.${name}`)
  await sql(
    `insert into daysix.${table} (${names.join()}) select ${values.join()} from bench_visit v join bench_pattern p on p.nth = v.nth ${joined} where ${where}`,
  )
}

/** Takes away all indexes but those that keep rows apart. @returns how to make them anew */
async function withoutIndexes(sql: Sql): Promise<string[]> {
  const found =
    await sql(`select indexdef, indexrelid::regclass::text as name from pg_index join pg_class on pg_class.oid = indexrelid
    join pg_indexes on schemaname = 'daysix' and indexname = relname where not indisunique and relnamespace = 'daysix'::regnamespace`)
  for (const { name } of found) await sql(`drop index ${name as string}`)
  return found.map(({ indexdef }) => indexdef as string)
}
