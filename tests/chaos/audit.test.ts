import { afterAll, beforeAll, beforeEach, describe, expect, it, afterEach } from 'vitest'
import { audit, type Evidence } from '../../infra/chaos/audit.ts'
import type { PoolClient } from '../../src/adapters/db/pool.ts'
import { TestWorld } from '../harness/world.ts'

/**
 * Two patients who are prepared for visits on the same day, as the service records it; then one thing is made untrue.
 */
describe('the audit of a chaos run', () => {
  let world: TestWorld
  let client: PoolClient
  let evidence: Evidence

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    await world.openings('2026-03-25T10:00')
    await world.book({ visit: '2026-03-16T10:00', cycle: { status: 'no-periods' } })
    await world.book({
      visit: '2026-03-16T11:00',
      name: 'Bea Marsh',
      phone: '782 555 0102',
      cycle: { status: 'no-periods' },
    })
    await world.passUntil('2026-03-17T12:00:00Z')
  })
  afterAll(() => world.close())
  beforeEach(async () => {
    client = await world.composed.database.records.connect()
    await client.query('begin')
    evidence = await facts()
  })
  afterEach(async () => {
    await client.query('rollback')
    client.release()
  })

  const sql = (text: string) => client.query(text)
  const a = (where: string) => `(select id from message where ${where} order by id limit 1)`
  const SENT = `state = 'delivered' and kind = 'prep'`

  async function facts(): Promise<Evidence> {
    const acceptances = world.pocket.ledger().map(({ messageId, to, text, ref, acceptedAt, notAfter }) => ({
      ...{ id: messageId, to, text, ref, notAfter, at: acceptedAt, real: 0, receiptUrl: '' },
      ...{ earliest: acceptedAt, floor: acceptedAt },
    }))
    const { rows } = await client.query('select id from booking order by id')
    const booked = new Map(rows.map(({ id }, n) => [`k${n}`, String(id)]))
    return {
      ask: async (text) => (await client.query(text)).rows,
      vault: world.composed.vault,
      acceptances,
      doubts: new Map(),
      booked,
      stopped: new Map(),
      heard: new Set(),
      now: world.clock.now(),
    }
  }

  const broken = async () =>
    (await audit(evidence)).filter(({ breaches }) => breaches.length > 0).map(({ rule }) => rule)
  const prep = async () => {
    const { rows } = await sql(`select id from message where ${SENT} order by id`)
    const ids = new Set(rows.map(({ id }) => id))
    return evidence.acceptances.filter(({ id }) => ids.has(id))
  }
  const takenAgain = async () => {
    const [first] = await prep()
    evidence = { ...evidence, acceptances: [...evidence.acceptances, { ...first!, ref: 'again' }] }
    return first!.id
  }
  const doubted = (id: string) => (evidence = { ...evidence, doubts: new Map([[id, 1]]) })
  const noted = (id: string) =>
    sql(`insert into happening (at, what, by, facts) values (now(), 'sent-again', 'daysix', '{"message": "${id}"}')`)

  it('finds nothing wrong where nothing is', async () => {
    expect(await broken()).toEqual([])
    expect((await prep()).length).toBe(2)
  })

  it('allows twice what was in doubt, where it is recorded', async () => {
    const id = await takenAgain()
    doubted(id)
    await noted(id)
    expect(await broken()).toEqual([])
  })

  /** Whatever else the service's clock can have said: so says the network's. */
  const takenAt = (at: Date) =>
    (evidence = {
      ...evidence,
      acceptances: evidence.acceptances.map((each) => ({ ...each, at, earliest: inTheNight, floor: inTheNight })),
    })

  it('allows what a machine sent whose clock is up to a minute ahead, as machines are', async () => {
    takenAt(new Date('2026-03-15T11:59:30Z'))
    expect(await broken()).not.toContain(HOURS)
    takenAt(new Date('2026-03-15T11:58:30Z'))
    expect(await broken()).toContain(HOURS)
  })

  const HOURS = 'nothing unasked outside sending hours'
  const TWICE = 'nothing twice but what a fault left in doubt, and each is recorded'
  const CASES: [string, string, () => unknown][] = [
    [
      'a message due that waits',
      'every message due is settled',
      () => sql(`update message set state = 'queued' where id = ${a(SENT)}`),
    ],
    [
      'one the network never had',
      'what was sent, the network has',
      () => (evidence = { ...evidence, acceptances: evidence.acceptances.slice(1) }),
    ],
    [
      'one the network has, given up',
      'what the network has, is known to be sent or in doubt',
      () => sql(`update message set state = 'expired' where id = ${a(SENT)}`),
    ],
    [
      'preparation that expired in silence',
      'what mattered and was not sent, a person must call about',
      () => sql(`update message set state = 'expired' where id = ${a(SENT)}`),
    ],
    ['one taken twice', TWICE, takenAgain],
    ['one taken twice, recorded, without a reason', TWICE, async () => noted(await takenAgain())],
    ['one taken twice, with a reason, not recorded', TWICE, async () => doubted(await takenAgain())],
    [
      'a text after STOP',
      'nothing after STOP',
      async () =>
        (evidence = { ...evidence, stopped: new Map([[(await prep())[0]!.to, new Date('2026-03-09T14:00:00Z')]]) }),
    ],
    [
      'one after its end',
      'nothing after its end',
      () =>
        (evidence = {
          ...evidence,
          acceptances: evidence.acceptances.map((each) => ({ ...each, notAfter: new Date('2026-03-09T12:00:00Z') })),
        }),
    ],
    ['one in the night', HOURS, () => takenAt(inTheNight)],
    [
      'two on one day to one number',
      'no number over its cap',
      () =>
        (evidence = {
          ...evidence,
          acceptances: evidence.acceptances.map((each) => ({ ...each, to: '+17825550101' })),
        }),
    ],
    [
      'one time for two',
      'no time booked twice',
      () => sql(`update booking set visit_at = (select max(visit_at) from booking)`),
    ],
    [
      'a visit without its time',
      'every visit has its time',
      () => sql(`update slot set state = 'free', booking_id = null, ends_at = null where state = 'taken'`),
    ],
    [
      'an opening held for nobody',
      'no hold left over',
      () =>
        sql(
          `update slot set state = 'held', booking_id = (select min(id) from booking), held_until = now(),
            ends_at = starts_at + interval '10 minutes' where state = 'free'`,
        ),
    ],
    [
      'a booking that is gone',
      'every booking that was acknowledged is there',
      () => (evidence = { ...evidence, booked: new Map([['k9', 'b_gone']]) }),
    ],
    [
      'a reply that nobody heard',
      'every reply that was acknowledged was heard once',
      () => (evidence = { ...evidence, heard: new Set(['t9']) }),
    ],
    [
      'a reply that is done twice',
      'what was done about a reply was done once',
      () =>
        sql(`insert into happening (at, what, by, facts) values (now(), 'reply', 'patient', '{"reply": "t_another"}')`),
    ],
    [
      'a claim that is left',
      'no claim left open',
      () => sql(`update message set state = 'sending' where id = ${a(SENT)}`),
    ],
  ]

  it.each(CASES)('finds %s', async (_what, rule, make) => {
    await make()
    expect(await broken()).toContain(rule)
  })
})

/** Three in the morning where the clinic is. */
const inTheNight = new Date('2026-03-15T06:00:00Z')
