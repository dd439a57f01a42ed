import type { Pool, PoolClient, PreparedQuery } from '../../src/adapters/db/pool.ts'
import { sealedUnbound } from '../harness/servers.ts'

const PHONE = '+16135550142'
/** Grow with the number of patients; every other table is small. */
const LARGE = new Set([
  'message',
  'booking',
  'patient',
  'consent',
  'slot',
  'offer',
  'reply',
  'sign_of_life',
  'follow_up',
  'happening',
  'opt_out',
  'idempotency',
  'early_receipt',
  'long_reply',
  'sent_part',
  'audit',
  'audit_subject',
])

export interface Asked {
  text: string
  params: readonly unknown[]
  /** Planned once, for whatever values come. */
  named?: boolean
}

/** The large tables that a statement would read from end to end. */
export async function readFromEndToEnd(
  pool: Pool,
  explain: string,
  params: readonly unknown[] = [],
): Promise<string[]> {
  const { rows } = await pool.query(explain, params.length > 0 ? params : undefined)
  const plan = rows[0]!['QUERY PLAN']
  return fullReads(typeof plan === 'string' ? JSON.parse(plan) : plan)
}

function fullReads(plan: unknown): string[] {
  if (Array.isArray(plan)) return plan.flatMap(fullReads)
  if (typeof plan !== 'object' || plan === null) return []
  const { 'Node Type': node, 'Relation Name': relation } = plan as Record<string, unknown>
  const own = node === 'Seq Scan' && LARGE.has(relation as string) ? [relation as string] : []
  return [...own, ...Object.values(plan).flatMap(fullReads)]
}

/** The same pool, telling what it is asked. */
export function listening(pool: Pool, tell: (asked: Asked) => void): Pool {
  const heard = <T extends Pick<PoolClient, 'query'>>(target: T): T =>
    new Proxy(target, {
      get: (object, key) => {
        if (key === 'query') {
          return (query: string | PreparedQuery, params: readonly unknown[] = []) => {
            tell(
              typeof query === 'string'
                ? { text: query, params }
                : { text: query.text, params: query.values, named: true },
            )
            return typeof query === 'string' ? object.query(query, params) : object.query(query)
          }
        }
        const value: unknown = Reflect.get(object, key, object)
        return typeof value === 'function' ? (value.bind(object) as unknown) : value
      },
    })
  return new Proxy(heard(pool), {
    get: (object, key) =>
      key === 'connect' ? async () => heard(await pool.connect()) : (Reflect.get(object, key, object) as unknown),
  })
}

/** Thousands of patients with their visits, and what is kept of them. */
export async function fill(pool: Pool): Promise<void> {
  const sealed = sealedUnbound({ phone: PHONE, choices: [], answer: null, text: null })
  const statements = [
    // Rows that are known to fit together need not be checked one by one.
    `set session_replication_role = replica`,
    `insert into clinic select 'c_' || n, 'Clinic', '+16135550100', 'UTC', 'CA', '{}' from generate_series(1, 20) n`,
    `insert into patient (id, clinic_id, phone_print, language, channel, detail, sealed, words) select 'p_' || n, 'c_' || (1 + n % 20), 'print' || n, 'en', 'sms', 'full', '${sealed}', array['word' || n % 900, 'other' || n % 700] from generate_series(1, 4000) n`,
    `insert into consent (patient_id, channel, recorded_by, recorded_at, wording) select 'p_' || n, 'sms', 'desk', now(), 'x' from generate_series(1, 4000) n`,
    `insert into opt_out (phone_print, at, reason) select 'print' || n, now(), 'stop' from generate_series(1, 4000, 5) n`,
    `insert into booking (id, patient_id, clinic_id, clinician, protocol, visit_at, first_visit_at, zone, state, plan_revision, short_notice, created_at)
       select 'b_' || n, 'p_' || n, 'c_' || (1 + n % 20), '', 'x', timestamptz '2026-01-01' + n * interval '10 minutes', timestamptz '2026-01-01', 'UTC', 'booked', 1, false, now() from generate_series(1, 4000) n`,
    `insert into slot (id, clinic_id, clinician, starts_at, state, booking_id, held_until, ends_at)
       select 'o_' || n, 'c_' || (1 + n % 20), '', timestamptz '2026-01-01' + n * interval '10 minutes', case when n % 50 = 0 then 'held' when n % 3 = 0 then 'free' else 'taken' end,
         case when n % 50 <> 0 and n % 3 = 0 then null else 'b_' || n end, case when n % 50 = 0 then timestamptz '2027-01-01' end,
         case when n % 50 <> 0 and n % 3 = 0 then null else timestamptz '2026-01-01' + (n + 1) * interval '10 minutes' end from generate_series(1, 4000) n`,
    `insert into offer (id, booking_id, reason, state, choices, made_at, until) select 'r_' || n, 'b_' || n, 'no-opening', case when n % 100 = 0 then 'open' else 'accepted' end, '[]', now(), timestamptz '2027-01-01' from generate_series(1, 4000) n`,
    `insert into message (id, booking_id, patient_id, clinic_id, phone_print, kind, channel, detail, language, revision, unsolicited, send_at, not_after, state, attempt, gateway, gateway_ref, sealed, sent_at)
       select 'm_' || n, 'b_' || (1 + n % 4000), 'p_' || (1 + n % 4000), 'c_' || (1 + n % 20), 'print' || (1 + n % 4000), case when n % 4 = 0 then 'prep' else 'confirmation' end, 'sms', 'full', 'en', 1, true,
         timestamptz '2026-01-01' + n * interval '3 minutes', timestamptz '2026-01-02' + n * interval '3 minutes',
         case when n < 11800 then 'delivered' when n % 10 = 0 then 'queued' when n % 50 = 1 then 'sending' when n % 10 = 2 then 'sent' else 'planned' end, 0, 'pocket', 'r-' || n, '${sealed}', now()
       from generate_series(1, 12000) n`,
    `insert into reply (id, gateway, key, phone_print, sealed, received_at, done) select 't_' || n, 'pocket', 'k' || n, 'print' || n, '${sealed}', now(), case when n % 100 = 0 then 'asked-which' else 'thanks' end from generate_series(1, 4000) n`,
    `insert into sign_of_life select 'print' || n, 'c_' || (1 + n % 20), now() from generate_series(1, 4000) n`,
    `insert into early_receipt (gateway, ref, state, at) select 'pocket', 'early-' || n, 'delivered', now() from generate_series(1, 2000) n`,
    `insert into long_reply (id, gateway, text_print, phone_print, total, part_prints, came_at, closed_at, heard_at) select 'l_' || n, 'centre', 'text' || n, 'print' || n, 2, '{a,b}', now(), now(), now() from generate_series(1, 4000) n`,
    `insert into sent_part (gateway, ref, sending, message_id, parts, state, at) select 'centre', 's-' || n, 'sending-' || n / 3, 'm_' || n / 3, 3, case when n % 40 = 0 then 'delivered' end, now() from generate_series(1, 8000) n`,
    `insert into follow_up (id, reason, urgency, booking_id, reply_id, sealed, opened_at, closed_at) select 'f_' || n, 'badly-timed', 2, 'b_' || n, 't_' || n, '${sealed}', now(), case when n % 50 = 0 then null else now() end from generate_series(1, 4000) n`,
    `insert into happening (at, booking_id, what, by, facts) select now(), 'b_' || (1 + n % 4000), 'booked', 'desk', '{}' from generate_series(1, 8000) n`,
    `insert into idempotency (key, request_hash, status, sealed, at) select 'k_' || n, 'x', 201, '${sealedUnbound({})}', now() from generate_series(1, 4000) n`,
    `set session_replication_role = origin`,
    'analyze',
  ]
  for (const statement of statements) await pool.query(statement)
}
