import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'

setFlagsFromString('--expose-gc')
const collectGarbage = runInNewContext('gc') as () => void

const ANSWERS = 2_000
const ANSWER_BYTES = 20_000
/** Far less than all answers together, far more than what comes and goes. */
const MOST_GROWTH_BYTES = (ANSWERS * ANSWER_BYTES) / 4

it('an embedded database does not keep its answers', async () => {
  const database = await openEmbedded(undefined)
  const ask = async (times: number) => {
    for (let i = 0; i < times; i++) await database.records.query(`select repeat('x', ${ANSWER_BYTES}) as answer`)
    collectGarbage()
    return process.memoryUsage().heapUsed
  }
  const before = await ask(100)
  expect((await ask(ANSWERS)) - before).toBeLessThan(MOST_GROWTH_BYTES)
  await database.close()
})
