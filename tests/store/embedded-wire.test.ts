import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'

/** Everything that nobody holds any more is gone after this. */
function collectGarbage(): void {
  setFlagsFromString('--expose-gc')
  ;(runInNewContext('gc') as () => void)()
}

describe('the wire to the embedded database', () => {
  let database: Database
  beforeAll(async () => void (database = await openEmbedded(undefined)))
  afterAll(() => database.close())

  const ask = async (sql: string, params: unknown[] = []) => (await database.records.query(sql, params)).rows

  it('brings an answer of any length whole', async () => {
    const [row] = await ask(`select repeat('é', 3000000) as text`)
    expect(row!.text).toBe('é'.repeat(3_000_000))
    expect(await ask('select n::int from generate_series(1, 20000) n')).toHaveLength(20_000)
  })

  it('goes on after a statement that fails, also among others that are asked at once', async () => {
    const answers = await Promise.allSettled([ask('select 1 as n'), ask('select 1/0'), ask('select 2 as n')])
    expect(
      answers.map((answer) => (answer.status === 'fulfilled' ? answer.value : (answer.reason as Error).message)),
    ).toEqual([[{ n: 1 }], 'division by zero', [{ n: 2 }]])
  })

  it('keeps nothing of what was asked and answered', async () => {
    const asked = async (times: number) => {
      for (let n = 0; n < times; n++) await ask(`select repeat('x', 20000) as text, $1::int as n`, [n])
      collectGarbage()
      return process.memoryUsage().heapUsed
    }
    const before = await asked(100)
    // 20 MB of answers.
    expect((await asked(1_000)) - before).toBeLessThan(5e6)
  })
})
