import { setTimeout as pause } from 'node:timers/promises'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { Failure } from '../../src/domain/failure.ts'
import { retryConflicts } from '../../src/adapters/db/retry-conflicts.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import type { Store } from '../../src/flows/ports/deps.ts'
import { freshDatabase, serverAddress, testVault, type FreshDatabase } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'

// PostgreSQL 15, Appendix A: 40P01 deadlock_detected; section 13.3.4: "the best defense against deadlocks is …
// consistent order", and "retrying transactions that abort due to deadlocks".
const server = serverAddress('TEST_DATABASE_URL')

describe.skipIf(!server)('two transactions that wait for each other', () => {
  let fresh: FreshDatabase
  let database: Database
  let store: Store
  let ids: string[]
  beforeAll(async () => {
    fresh = await freshDatabase(server!)
    const world = await TestWorld.create('2026-03-09T13:00:00Z', fresh.url)
    const visits = await Promise.all(
      [1, 2].map((n) =>
        world.book({ name: `Patient ${n}`, phone: `782 555 011${n}`, visit: `2026-03-1${6 + n}T10:00` }),
      ),
    )
    ids = visits.map(({ booking }) => booking.id)
    await world.close()
    database = await openServer(fresh.url)
    store = await openStore(database, testVault())
  })
  afterAll(async () => {
    await database.close()
    await fresh.drop()
  })

  /** Each locks its first, waits until the other has, and then wants the other's. */
  async function cross(
    transact: Store['transact'],
  ): Promise<{ tries: number; outcomes: PromiseSettledResult<void>[] }> {
    let tries = 0
    let arrived = 0
    const both = async () => {
      arrived++
      while (arrived < 2) await pause(5)
    }
    const lock = (first: string, second: string) =>
      transact(async (tx) => {
        tries++
        await tx.bookings.lock(first)
        await both()
        await tx.bookings.lock(second)
      })
    const outcomes = await Promise.allSettled([lock(ids[0]!, ids[1]!), lock(ids[1]!, ids[0]!)])
    return { tries, outcomes }
  }

  it('are ended by PostgreSQL, one of them', async () => {
    const { outcomes } = await cross(store.transact)
    const failed = outcomes.flatMap((each) => (each.status === 'rejected' ? [each.reason as { code: string }] : []))
    expect(failed.map(({ code }) => code)).toEqual(['40P01'])
  })

  it('both succeed when the one that was ended begins again', async () => {
    const waited: number[] = []
    const patiently = async (ms: number) => void (waited.push(ms), await pause(ms))
    const { tries, outcomes } = await cross(retryConflicts(store.transact, () => 0.5, patiently))
    expect(outcomes.map(({ status }) => status)).toEqual(['fulfilled', 'fulfilled'])
    expect(tries).toBe(3)
    expect(waited).toEqual([10])
  })

  it('are not begun again for ever, nor for any other reason', async () => {
    let tries = 0
    const waited: number[] = []
    const retrying = retryConflicts(
      store.transact,
      () => 1,
      async (ms) => void waited.push(ms),
    )
    const always = (error: Error) => retrying(async () => (tries++, Promise.reject(error)))
    await expect(always(Object.assign(new Error('serialization'), { code: '40001' }))).rejects.toThrow('serialization')
    expect(tries).toBe(6)
    expect(waited).toEqual([20, 40, 80, 160, 320])
    tries = 0
    await expect(always(new Failure('time-taken', { message: 'taken' }))).rejects.toMatchObject({ code: 'time-taken' })
    expect(tries).toBe(1)
  })
})
