import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database, Named, Pool, PoolClient } from '../../src/adapters/db/pool.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import type { Store } from '../../src/flows/ports/deps.ts'
import { testVault } from '../harness/servers.ts'

const NOW = new Date('2026-03-09T13:00:00Z')
const PHONE = '+16135550142'
const CLINIC = 'c_1'
const IDS = ['m_1', 'm_2', 'm_3']
/** Grow with the number of patients; every other table is small. */
const LARGE = new Set(['message', 'booking', 'patient', 'consent', 'slot', 'offer', 'reply', 'follow_up', 'happening', 'opt_out', 'idempotency', 'early_receipt'])

interface Asked {
  text: string
  params: readonly unknown[]
  /** Planned once, for whatever values come. */
  named?: boolean
}

/** How the database would go about each query that sending, hearing, booking and sweeping make, with many rows in its tables. */
describe('with thousands of visits, no hot path reads a large table from end to end', () => {
  let database: Database
  let store: Store
  let asked: Asked[] = []

  beforeAll(async () => {
    database = await openEmbedded(undefined)
    store = await openStore({ ...database, records: listening(database.records, (each) => asked.push(each)) }, testVault())
    await fill(database.records)
  })
  afterAll(() => database.close())

  const paths: Record<string, (records: Store['read']) => Promise<unknown>> = {
    'putting in the queue what is due': ({ dispatch }) => dispatch.enqueueDue(NOW, 500),
    'finding what is due': ({ dispatch }) => dispatch.due(IDS.map((messageId) => ({ messageId, revision: 1 })), NOW),
    'looking around many messages': async ({ dispatch, messages }) => dispatch.context([(await messages.get('m_1'))!], NOW),
    'claiming': async ({ dispatch, messages }) => dispatch.claim([{ message: (await messages.get('m_1'))!, text: 'x' }], 'w_1', NOW),
    'recording acceptances': ({ dispatch }) => dispatch.accept(IDS.map((id) => ({ id, attempt: 1, ref: 'r' })), NOW),
    'matching early receipts': ({ dispatch }) => dispatch.takeEarlyReceipts([{ gateway: 'g', ref: 'r' }]),
    'finding a message by its reference': ({ messages }) => messages.byRef('pocket', 'r-17'),
    'finding what was not rung for': ({ dispatch }) => dispatch.overdue(NOW, 200),
    'finding what has become worthless': ({ dispatch }) => dispatch.worthless(NOW, 200),
    'finding claims left behind': ({ dispatch }) => dispatch.stuck(200),
    'finding the own claims': ({ dispatch }) => dispatch.claimedBy('w_1'),
    'finding what did not arrive': ({ dispatch }) => dispatch.undelivered(NOW, NOW, [], 200),
    'the figures': ({ dispatch }) => dispatch.figures(NOW),
    'the counts of the service page': ({ messages }) => messages.figures(NOW, NOW),
    'what was said to a number': ({ messages }) => messages.toPhone(PHONE, CLINIC, NOW),
    'clinics that wrote to a number': ({ messages }) => messages.writers(PHONE, NOW),
    'what waits for a patient outside the plans': ({ messages }) => messages.unplanned('p_7'),
    'locking patients': ({ patients }) => patients.lock(['p_7', 'p_8']),
    'locking a number with its patients': ({ patients }) => patients.lockAt(PHONE, CLINIC),
    'locking the visits of patients': ({ bookings }) => bookings.lockToCome({ patientIds: ['p_7', 'p_8'] }, NOW),
    'locking the visits at a number': ({ bookings }) => bookings.lockToCome({ phone: PHONE, clinicId: CLINIC }, NOW),
    'replies not acted on': ({ replies }) => replies.unacted(NOW, 200),
    'withdrawing what goes to a patient': ({ messages }) => messages.withdrawUnsent({ patient: 'p_7' }, 'died', NOW),
    'the answers to a number': ({ messages }) => messages.countAnswers(PHONE, CLINIC, NOW),
    'the reply of a number whose visit was asked for': ({ replies }) => replies.unanswered(PHONE, CLINIC, NOW),
    'replies whose visit nobody has named': ({ replies }) => replies.unansweredBefore(NOW, 200),
    'calls that a reply has opened': ({ followUps }) => followUps.list({ replyId: 't_7', open: true, limit: 50 }),
    'how much a number wrote': ({ replies }) => replies.countFrom(PHONE, NOW),
    'the caps of a number': ({ messages }) => messages.unsolicitedTo(PHONE, NOW, null),
    'the messages of a visit': ({ messages }) => messages.ofBooking('b_7'),
    'withdrawing a plan': ({ messages }) => messages.withdrawUnsent({ plan: 'b_7' }, 'plan-revised', NOW),
    'withdrawing what goes to a number': ({ messages }) => messages.withdrawUnsent({ phone: PHONE }, 'opted-out', NOW),
    'patients by number': ({ patients }) => patients.byPhone(PHONE),
    'patients by the words of their names': ({ patients }) => patients.search(['quillon', 'marit'], CLINIC, 20),
    'consents': ({ patients }) => patients.consents('p_7'),
    'opt-outs': ({ optOuts }) => optOuts.has(PHONE),
    'the visits of a day': ({ bookings }) => bookings.list({ clinicId: 'c_1', from: NOW, to: new Date(NOW.getTime() + 86_400_000), limit: 50 }),
    'the visits of a patient': ({ bookings }) => bookings.list({ patientIds: ['p_7'], from: NOW, state: 'booked', limit: 20 }),
    'a page of all visits': ({ bookings }) => bookings.list({ after: { visitAt: NOW, id: 'b_7' }, limit: 50 }),
    'openings': ({ slots }) => slots.list({ clinicId: 'c_1', from: NOW, states: ['free'], limit: 100 }),
    'holds that have run out': ({ slots }) => slots.releaseExpired(NOW),
    'freeing a time': ({ slots }) => slots.free('b_7', NOW),
    'the offer of a visit': ({ offers }) => offers.pending('b_7'),
    'offers that lapse': ({ offers }) => offers.lapsing(NOW, 200),
    'what a number wrote': ({ replies }) => replies.fromPhone(PHONE, NOW),
    'the call list': ({ followUps }) => followUps.list({ open: true, limit: 50 }),
    'the calls about a visit': ({ followUps }) => followUps.list({ bookingId: 'b_7', open: true, limit: 50 }),
    'calls about visits that are over': ({ followUps }) => followUps.closePast(['badly-timed', 'no-consent'], { from: new Date(NOW.getTime() - 86_400_000), to: NOW }, 'over', NOW),
    'visits planned by another protocol': ({ bookings }) => bookings.plannedOtherwise('liquid-based-cytology', 'another', NOW, 100),
    'the trail of a visit': ({ events: trail }) => trail.ofBooking('b_7'),
    'a repeated request': ({ idempotency }) => idempotency.get('k_7'),
  }

  async function readFromEndToEnd(explain: string, params: readonly unknown[] = []): Promise<string[]> {
    const { rows } = await database.records.query(explain, params.length > 0 ? params : undefined)
    const plan = rows[0]!['QUERY PLAN']
    return fullReads(typeof plan === 'string' ? JSON.parse(plan) : plan)
  }

  it.each(Object.keys(paths))('%s', async (name) => {
    asked = []
    await store.transact(async (tx) => {
      await paths[name]!(tx)
      // What is only written waits for the next statement.
      await tx.workers.forgetSilent(3_600)
      throw new RolledBack()
    }).catch((error: unknown) => { if (!(error instanceof RolledBack)) throw error }) // prettier-ignore
    const queries = asked.filter(({ text }) => /^\s*(select|update|delete|insert|with)/i.test(text))
    expect(queries.length).toBeGreaterThan(0)
    for (const { text, params, named } of queries) {
      expect(await readFromEndToEnd(`explain (format json) ${text}`, params), text).toEqual([])
      // A connection would refuse it from the day on which the table gets another column.
      if (named) expect(text).not.toMatch(/(select|returning) \*/)
      if (named) expect(await readFromEndToEnd(`explain (format json, generic_plan) ${text}`), `${text}, planned once`).toEqual([])
    }
  })
})

class RolledBack extends Error {}

function fullReads(plan: unknown): string[] {
  if (Array.isArray(plan)) return plan.flatMap(fullReads)
  if (typeof plan !== 'object' || plan === null) return []
  const { 'Node Type': node, 'Relation Name': relation } = plan as Record<string, unknown>
  const own = node === 'Seq Scan' && LARGE.has(relation as string) ? [relation as string] : []
  return [...own, ...Object.values(plan).flatMap(fullReads)]
}

/** The same pool, telling what it is asked. */
function listening(pool: Pool, tell: (asked: Asked) => void): Pool {
  const heard = <T extends Pick<PoolClient, 'query'>>(target: T): T =>
    new Proxy(target, {
      get: (object, key) => {
        if (key === 'query') {
          return (query: string | Named, params: readonly unknown[] = []) => {
            tell(typeof query === 'string' ? { text: query, params } : { text: query.text, params: query.values, named: true })
            return typeof query === 'string' ? object.query(query, params) : object.query(query)
          }
        }
        const value: unknown = Reflect.get(object, key, object)
        return typeof value === 'function' ? (value.bind(object) as unknown) : value
      },
    })
  return new Proxy(heard(pool), {
    get: (object, key) => (key === 'connect' ? async () => heard(await pool.connect()) : (Reflect.get(object, key, object) as unknown)),
  })
}

async function fill(pool: Pool): Promise<void> {
  const vault = testVault()
  const sealed = vault.seal(JSON.stringify({ phone: PHONE, choices: [], answer: null, text: null }))
  const statements = [
    // Rows that are known to fit together need not be checked one by one.
    `set session_replication_role = replica`,
    `insert into clinic select 'c_' || n, 'Clinic', '+16135550100', 'UTC', 'CA', '{}' from generate_series(1, 20) n`,
    `insert into patient (id, clinic_id, phone_print, language, channel, detail, sealed, words) select 'p_' || n, 'c_' || (1 + n % 20), 'print' || n, 'en', 'sms', 'full', '${sealed}', array['word' || n % 900, 'other' || n % 700] from generate_series(1, 4000) n`,
    `insert into consent (patient_id, channel, recorded_by, recorded_at, wording) select 'p_' || n, 'sms', 'desk', now(), 'x' from generate_series(1, 4000) n`,
    `insert into opt_out (phone_print, at, reason) select 'print' || n, now(), 'stop' from generate_series(1, 4000, 5) n`,
    `insert into booking (id, patient_id, clinic_id, clinician, protocol, visit_at, first_visit_at, zone, state, plan_revision, short_notice, created_at)
       select 'b_' || n, 'p_' || n, 'c_' || (1 + n % 20), '', 'x', timestamptz '2026-01-01' + n * interval '10 minutes', timestamptz '2026-01-01', 'UTC', 'booked', 1, false, now() from generate_series(1, 4000) n`,
    `insert into slot (id, clinic_id, clinician, starts_at, state, booking_id, held_until)
       select 'o_' || n, 'c_' || (1 + n % 20), '', timestamptz '2026-01-01' + n * interval '10 minutes', case when n % 50 = 0 then 'held' when n % 3 = 0 then 'free' else 'taken' end,
         case when n % 50 <> 0 and n % 3 = 0 then null else 'b_' || n end, case when n % 50 = 0 then timestamptz '2027-01-01' end from generate_series(1, 4000) n`,
    `insert into offer (id, booking_id, reason, state, choices, made_at, until) select 'r_' || n, 'b_' || n, 'no-opening', case when n % 100 = 0 then 'open' else 'accepted' end, '[]', now(), timestamptz '2027-01-01' from generate_series(1, 4000) n`,
    `insert into message (id, booking_id, patient_id, clinic_id, phone_print, kind, channel, detail, language, revision, unsolicited, send_at, not_after, state, attempt, gateway, gateway_ref, sealed, sent_at)
       select 'm_' || n, 'b_' || (1 + n % 4000), 'p_' || (1 + n % 4000), 'c_' || (1 + n % 20), 'print' || (1 + n % 4000), case when n % 4 = 0 then 'prep' else 'confirmation' end, 'sms', 'full', 'en', 1, true,
         timestamptz '2026-01-01' + n * interval '3 minutes', timestamptz '2026-01-02' + n * interval '3 minutes',
         case when n < 11800 then 'delivered' when n % 10 = 0 then 'queued' when n % 50 = 1 then 'sending' when n % 10 = 2 then 'sent' else 'planned' end, 0, 'pocket', 'r-' || n, '${sealed}', now()
       from generate_series(1, 12000) n`,
    `insert into reply (id, gateway, key, phone_print, sealed, received_at, done) select 't_' || n, 'pocket', 'k' || n, 'print' || n, '${sealed}', now(), case when n % 100 = 0 then 'asked-which' else 'thanks' end from generate_series(1, 4000) n`,
    `insert into early_receipt (gateway, ref, state, at) select 'pocket', 'early-' || n, 'delivered', now() from generate_series(1, 2000) n`,
    `insert into follow_up (id, reason, urgency, booking_id, reply_id, sealed, opened_at, closed_at) select 'f_' || n, 'badly-timed', 2, 'b_' || n, 't_' || n, '${sealed}', now(), case when n % 50 = 0 then null else now() end from generate_series(1, 4000) n`,
    `insert into happening (at, booking_id, what, by, facts) select now(), 'b_' || (1 + n % 4000), 'booked', 'desk', '{}' from generate_series(1, 8000) n`,
    `insert into idempotency (key, request_hash, status, sealed, at) select 'k_' || n, 'x', 201, '${vault.seal('{}')}', now() from generate_series(1, 4000) n`,
    `set session_replication_role = origin`,
    'analyze',
  ]
  for (const statement of statements) await pool.query(statement)
}
