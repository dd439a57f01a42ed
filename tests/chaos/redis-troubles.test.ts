import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { eventually } from '../../infra/chaos/service-process.ts'
import { OwnRedis } from '../harness/own-redis.ts'
import { freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { OwnFleet } from './own-fleet.ts'

const server = serverAddress('TEST_DATABASE_URL')
const hasRedis = serverAddress('TEST_REDIS_URL') !== undefined

describe.skipIf(!server || !hasRedis)('a running fleet whose Redis takes no writes', () => {
  let database: FreshDatabase
  let redis: OwnRedis
  let fleet: OwnFleet
  beforeAll(async () => {
    database = await freshDatabase(server!)
    redis = await OwnRedis.start()
    fleet = await OwnFleet.start({ DATABASE_URL: database.url, REDIS_URL: `redis://127.0.0.1:${redis.port}` })
    await fleet.expectGoesOn()
  })
  afterEach(({ task }) => {
    if (task.result?.state === 'fail') console.log(fleet.log)
  })
  afterAll(async () => {
    await fleet?.end()
    await redis.end()
    await database.drop()
  })

  // The database is the truth: visits are taken all the same, and what was not rung for goes out by the sweep.
  it.each([
    ['its memory is full (noeviction)', ['config', 'set', 'maxmemory', '1'], ['config', 'set', 'maxmemory', '0']],
    ['it became a replica', ['replicaof', '127.0.0.1', '1'], ['replicaof', 'no', 'one']],
  ] as [string, [string, ...string[]], [string, ...string[]]][])('because %s', async (_why, hurt, mend) => {
    await redis.ask(...hurt)
    await eventually('both say so', async () => (await fleet.readiness()).every(({ queue }) => queue === false), 20)
    for (const { database } of await fleet.readiness()) expect(database).toBe(true)
    expect(await fleet.tryToBook()).toBeNull()
    await redis.ask(...mend)
    await fleet.expectGoesOn()
  })

  it('has everybody told once', () => fleet.expectAllTold())
})
