import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { freshDatabase, serverAddress } from '../harness/servers.ts'
import { broken } from './meeting-promises.ts'
import { carryOut, deeds, setUp } from './meeting.ts'

/** For a longer run: MEETINGS=500 MEETING_SEED=7 */
const RUNS = Number(process.env.MEETINGS ?? 6)
const SEED = Number(process.env.MEETING_SEED ?? 20260309)
const TIMEOUT_MS = Math.max(300_000, RUNS * 10_000)
const SERVER = serverAddress('TEST_DATABASE_URL')

const holdsOn = (open: () => Promise<{ url?: string; drop(): Promise<void> }>) =>
  fc.assert(
    fc.asyncProperty(deeds, async (sequence) => {
      const database = await open()
      const { model, real } = await setUp(database.url)
      try {
        for (const [index, deed] of sequence.entries()) {
          await carryOut(model, real, deed)
          // What follows at once happens.
          await real.world.clock.moveTo(new Date(real.world.clock.now().getTime() + 60_000))
          expect(await broken(model, real), `after deed ${index + 1}: ${JSON.stringify(deed)}`).toEqual([])
        }
      } finally {
        await real.world.close()
        await database.drop()
      }
    }),
    { numRuns: RUNS, seed: SEED, endOnFailure: RUNS > 20 },
  )

describe('patients, visits, numbers and clinics that meet', () => {
  it('keep every promise on the embedded database', () => holdsOn(async () => ({ drop: async () => {} })), TIMEOUT_MS)

  it.skipIf(!SERVER)(
    'and on PostgreSQL, also when two do something at once',
    () => holdsOn(() => freshDatabase(SERVER!)),
    TIMEOUT_MS,
  )
})
