import { beforeEach, describe, expect, it } from 'vitest'
import { eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { DatabaseClock } from '../../src/adapters/clock/database-clock.ts'
import { yieldsClaims } from '../../src/domain/messages/yield-claims.ts'
import { serverAddress } from '../harness/servers.ts'
import { ownProcesses } from './own-processes.ts'

// What is due is judged by one clock, the database's. The referee is PostgreSQL's own clock and the network's ledger;
// the limits of 30 s and two minutes are our own judgement.
const MINUTE = 60_000
const postgres = serverAddress('TEST_DATABASE_URL')
/** The clock of the machine that a process runs on, off by so much. */
const offBy = (ms: number) => {
  const code = `const D=Date;globalThis.Date=class extends D{constructor(...a){if(a.length===0)super(D.now()+${ms});else super(...a)}static now(){return D.now()+${ms}}}`
  return `--import data:text/javascript,${encodeURIComponent(code)}`
}

describe('the time by a database', () => {
  const at = (ms: number) => new Date(Date.now() + ms)

  it('is the machine’s until the database was heard, and then the database’s, and tells by how much they differ', () => {
    const clock = new DatabaseClock()
    expect(clock.offset()).toBeNull()
    expect(Math.abs(clock.now().getTime() - Date.now())).toBeLessThan(1_000)
    clock.hear(at(-25 * MINUTE), performance.now(), performance.now())
    expect(Math.abs(clock.now().getTime() - (Date.now() - 25 * MINUTE))).toBeLessThan(1_000)
    expect(Math.abs(clock.offset()! - 25 * MINUTE)).toBeLessThan(1_000)
  })

  it('goes on without the database, and takes no notice of a machine whose clock is set', () => {
    const clock = new DatabaseClock()
    clock.hear(at(0), performance.now(), performance.now())
    const before = clock.now().getTime()
    const real = Date.now
    try {
      Date.now = () => real() + 60 * MINUTE
      expect(clock.now().getTime() - before).toBeLessThan(5_000)
      expect(Math.abs(clock.offset()! - 60 * MINUTE)).toBeLessThan(5_000)
    } finally {
      Date.now = real
    }
  })

  it('does not tremble: what the question and its answer leave in doubt changes nothing', () => {
    const clock = new DatabaseClock()
    clock.hear(new Date(1_000_000), 0, 0)
    clock.hear(new Date(1_010_150), 10_000, 10_400)
    const known = clock.now().getTime() - performance.now()
    expect(known).toBeCloseTo(1_000_000, -1)
    clock.hear(new Date(1_030_600), 30_000, 30_100)
    expect(clock.now().getTime() - performance.now()).toBeCloseTo(1_000_550, -1)
  })

  it('leaves sending to others beyond two minutes, where there are others', () => {
    expect(yieldsClaims(25 * MINUTE, 1)).toBe(true)
    expect(yieldsClaims(-3 * MINUTE, 2)).toBe(true)
    expect(yieldsClaims(25 * MINUTE, 0)).toBe(false)
    expect(yieldsClaims(2 * MINUTE, 5)).toBe(false)
    expect(yieldsClaims(null, 5)).toBe(false)
  })
})

describe.skipIf(!postgres)('workers whose machines have different clocks', () => {
  const { here, describeNetwork, start } = ownProcesses(postgres!)
  beforeEach(() => describeNetwork())

  async function startOff(role: 'web' | 'worker', off: number): Promise<{ health: string; log: () => string }> {
    const port = role === 'web' ? new URL(here().base).port : String(await freePort())
    const ports = role === 'worker' && { HEALTH_PORT: port }
    const process = start(role, { NODE_OPTIONS: offBy(off), ...ports })
    const health = `http://127.0.0.1:${port}`
    await eventually(`${role} is ready`, () => isReady(health))
    return { health, log: () => process.log.join('\n') }
  }

  /** The plan of the visit comes due in some seconds, by the database's clock. */
  const dueIn = async (bookingId: string, seconds: number) =>
    (
      await here().client.query<{ id: string; at: Date }>(
        `update message set send_at = clock_timestamp() + make_interval(secs => $2)
         where id = (select id from message where booking_id = $1 and state = 'planned' order by send_at limit 1)
         returning id, send_at as at`,
        [bookingId, seconds],
      )
    ).rows[0]!
  const sentAt = async (id: string) =>
    (await here().client.query<{ at: Date | null }>('select sent_at as at from message where id = $1', [id])).rows[0]!
      .at
  const taken = (id: string) => here().ledger.acceptances.find((each) => each.id === id)
  const claimants = async (ids: string[]) =>
    (
      await here().client.query<{ by: string }>('select distinct claimed_by as by from message where id = any($1)', [
        ids,
      ])
    ).rows

  it('send nothing early or late, also where the only one is 25 minutes ahead, or behind; and it says so', async () => {
    await startOff('web', -20 * MINUTE)
    await here().desk.clinic()
    for (const off of [25 * MINUTE, -20 * MINUTE]) {
      const worker = await startOff('worker', off)
      const due = await dueIn(await here().desk.book(), 12)
      await eventually('it is taken', () => taken(due.id) !== undefined, 100)
      const { real } = taken(due.id)!
      // The database and this test share a machine. A timer may be a second early.
      expect(real - due.at.getTime()).toBeGreaterThan(-1_000)
      // Behind and alone, the queue does not ring: the sweep does, after a minute.
      expect(real - due.at.getTime()).toBeLessThan(off > 0 ? 10_000 : 80_000)
      // The network has it a moment before it is written down.
      await eventually('it is written down', async () => (await sentAt(due.id)) !== null, 10)
      expect(Math.abs((await sentAt(due.id))!.getTime() - real)).toBeLessThan(5_000)
      const metrics = await (await fetch(`${worker.health}/metrics`)).text()
      const told = Number(/^daysix_clock_offset_seconds (-?[\d.]+)/m.exec(metrics)?.[1])
      expect(Math.abs(told - off / 1000)).toBeLessThan(5)
      expect(worker.log()).toContain('the clock of this machine is off')
      await here().running.pop()!.stop()
    }
  })

  it('leave it to the one whose clock is right, while there is one', async () => {
    await startOff('web', 0)
    await here().desk.clinic()
    const off = await startOff('worker', 25 * MINUTE)
    const right = await startOff('worker', 0)
    expect([off.health, right.health]).toHaveLength(2)
    const offsets = async () =>
      (await here().client.query<{ ms: number | null }>('select clock_offset_ms as ms from worker')).rows.map(
        ({ ms }) => ms,
      )
    await eventually('both have told', async () => (await offsets()).filter((ms) => ms !== null).length === 2, 30)
    // The next beat of the one that is off, and then some.
    await new Promise((done) => setTimeout(done, 7_000))
    const dues: { id: string }[] = []
    for (let n = 0; n < 6; n++) dues.push(await dueIn(await here().desk.book(), 5))
    await eventually('all are taken', () => dues.every(({ id }) => taken(id)), 20)
    expect(await claimants(dues.map(({ id }) => id))).toHaveLength(1)
    const { rows } = await here().client.query<{ ms: number }>(
      'select clock_offset_ms as ms from worker where id = (select claimed_by from message where id = $1)',
      [dues[0]!.id],
    )
    expect(Math.abs(rows[0]!.ms)).toBeLessThan(2 * MINUTE)

    await here().running.pop()!.stop()
    const alone = await dueIn(await here().desk.book(), 25)
    await eventually('the one that is off goes on alone', () => taken(alone.id) !== undefined, 90)
    expect(taken(alone.id)!.real).toBeGreaterThan(alone.at.getTime() - 1_000)
  })
})
