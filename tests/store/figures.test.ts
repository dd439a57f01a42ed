import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import type { Store } from '../../src/flows/ports/deps.ts'
import { testVault } from '../harness/servers.ts'

describe('what the service page counts', () => {
  let database: Database
  let store: Store

  const add = (state: string, count: number) =>
    database.records.query(
      `insert into message (id, clinic_id, phone_print, kind, channel, detail, language, unsolicited, send_at, not_after, state, attempt, gateway, sealed)
       select $1 || n, 'c_1', 'p', 'prep', 'sms', 'full', 'en', true, now(), now(), $1, 0, 'pocket', 'x' from generate_series(1, $2::integer) n`,
      [state, count],
    )

  beforeAll(async () => {
    database = await openEmbedded(undefined)
    store = await openStore(database, testVault())
    await database.records.query(`insert into clinic values ('c_1', 'Clinic', '+16135550100', 'UTC', 'CA', '{}')`)
  })
  afterAll(() => database.close())

  const waiting = async () =>
    Object.fromEntries(
      (await store.read.messages.figures(new Date(), new Date())).waiting.map(({ state, count, more }) => [
        state,
        `${count}${more ? ' and more' : ''}`,
      ]),
    )

  it('is exact, nothing included', async () => {
    await add('queued', 3)
    await add('delivered', 5)
    expect(await waiting()).toEqual({ planned: '0', queued: '3', sending: '0' })
  })

  it('ends at ten thousand', async () => {
    await add('planned', 10_000)
    expect((await waiting()).planned).toBe('10000')
    await database.records.query(`update message set state = 'planned' where state = 'delivered'`)
    expect((await waiting()).planned).toBe('10000 and more')
  })
})
