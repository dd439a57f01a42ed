import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { eventually } from '../../infra/chaos/service-process.ts'
import { BOUNCER, OwnBouncer } from '../harness/own-bouncer.ts'
import { OwnPostgres, POSTGRES } from '../harness/own-postgres.ts'
import { daysix, expectPlain } from '../ops/plain-end.ts'
import { OwnFleet } from './own-fleet.ts'

const login = { user: 'daysix', password: 'a-right-one' }

describe.skipIf(!POSTGRES || !BOUNCER)('PgBouncer before PostgreSQL, with a session for each client', () => {
  let postgres: OwnPostgres
  let bouncer: OwnBouncer
  let fleet: OwnFleet | undefined
  beforeEach(async () => {
    postgres = await OwnPostgres.start()
    await postgres.ask(`create role ${login.user} login password '${login.password}'`)
    await postgres.ask(`create database daysix owner ${login.user}`)
    bouncer = await OwnBouncer.start(postgres, login, 'session')
  })
  afterEach(async ({ task }) => {
    if (task.result?.state === 'fail') console.log(fleet?.log)
    await fleet?.end()
    await bouncer.end()
    await postgres.end()
  })

  it('with a session for each transaction instead is refused at the start, in words', async () => {
    const other = await OwnBouncer.start(postgres, login, 'transaction')
    const settings = { DATABASE_URL: other.address, DAYSIX_KEY: Buffer.alloc(32, 9).toString('base64'), PORT: '0' }
    const ended = await daysix(['serve'], { ...settings, DATA_DIR: `${other.folder}/none` })
    await other.end()
    expectPlain(ended, 1, [/DATABASE_URL: the tables are not where/, /pool_mode=transaction/])
  })

  it('carries the whole service, and says when the server behind it is away', async () => {
    fleet = await OwnFleet.start({ DATABASE_URL: bouncer.address })
    await fleet.expectGoesOn()
    await postgres.halt()
    await eventually('both say so', async () => (await fleet!.readiness()).every(({ database }) => !database), 20)
    expect(await fleet.tryToBook()).toMatchObject({ status: 503, code: 'database-away' })
    await postgres.begin()
    await fleet.expectGoesOn()
    await fleet.expectAllTold()
  })
})
