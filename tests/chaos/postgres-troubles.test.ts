import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { eventually } from '../../infra/chaos/service-process.ts'
import { OwnPostgres, POSTGRES } from '../harness/own-postgres.ts'
import { OwnFleet, type Refused } from './own-fleet.ts'

const MEGABYTES = 200
const ROLE = 'daysix'

/** What every refusal is like: RFC 9457 problem details, RFC 9110 Retry-After. */
function expectSaid(refused: Refused | null, code: 'database-away' | 'database-full'): void {
  expect(refused).toMatchObject({ status: 503, code, type: expect.stringMatching(/^application\/problem\+json/) })
  expect(Number(refused!.retryAfter)).toBeGreaterThan(0)
}

describe.skipIf(!POSTGRES)('a running fleet whose PostgreSQL', () => {
  let postgres: OwnPostgres
  let fleet: OwnFleet
  beforeAll(async () => {
    // Small, so that it soon asks the disk for more.
    const small = { min_wal_size: '32MB', max_wal_size: '48MB', shared_buffers: '16MB' }
    postgres = await OwnPostgres.start(small, MEGABYTES)
    await postgres.ask(`create role ${ROLE} login password 'a-right-one'`)
    await postgres.ask(`create database daysix owner ${ROLE}`)
    fleet = await OwnFleet.start({ DATABASE_URL: postgres.address(ROLE, 'a-right-one', 'daysix') })
    await fleet.expectGoesOn()
  })
  afterEach(({ task }) => {
    if (task.result?.state === 'fail') console.log(fleet.log)
  })
  afterAll(async () => {
    await fleet?.end()
    await postgres.end()
  })

  /** What counts for sessions to come, with all of ours ended. */
  const setAll = async (settings: string) => {
    await postgres.ask(`alter role ${ROLE} ${settings}`)
    await postgres.ask(`select pg_terminate_backend(pid) from pg_stat_activity where usename = '${ROLE}'`)
  }
  const sayNoWrites = () =>
    eventually('both say so', async () => (await fleet.readiness()).every(({ writes }) => writes === false), 30)
  /** A visit is not shown where it cannot be written down who saw it; the patient's own page is. */
  const expectReadByPatientOnly = async () => {
    expect((await fleet.desk.call('GET', `/bookings/${fleet.booked[0]}`)).body.code).toBe('database-away')
    expect((await fetch(fleet.privatePage())).status).toBe(200)
  }
  /** Who opens a page reads what is wrong there, not a document for programs. */
  const expectPagesInWords = async () => {
    const headers = { Cookie: 'daysix=somebody', Origin: fleet.base, Accept: 'text/html' }
    const form = {
      method: 'POST',
      body: new URLSearchParams({ login: 'ada', password: 'a-wrong-one', again: 'a-wrong-one', code: '1' }),
    }
    const asked: [path: string, form?: typeof form][] = [
      ...([['/'], ['/account'], ['/desk'], ['/settings'], [new URL(fleet.privatePage()).pathname]] as [string][]),
      ...([
        ['/sign-in', form],
        ['/sign-in/first', form],
        ['/sign-out', form],
      ] as [string, typeof form][]),
    ]
    for (const [path, what] of asked) {
      const response = await fetch(fleet.base + path, { headers, redirect: 'manual', ...what })
      const seen = { path, status: response.status, type: response.headers.get('Content-Type')?.split(';')[0] }
      expect(seen).toEqual({ path, status: 503, type: 'text/html' })
      expect(Number(response.headers.get('Retry-After'))).toBeGreaterThan(0)
      expect(await response.text()).toMatch(/<h1>/)
    }
  }
  let mend: () => Promise<void> = async () => {}
  afterEach(() => mend())

  it('only reads, by a setting, says so, and goes on once it may write again', async () => {
    mend = () => postgres.reload({ default_transaction_read_only: 'off' })
    await postgres.reload({ default_transaction_read_only: 'on' })
    await sayNoWrites()
    expectSaid(await fleet.tryToBook(), 'database-away')
    await expectReadByPatientOnly()
    await mend()
    await fleet.expectGoesOn()
  })

  it('comes back as a standby, which only reads, until it is promoted', async () => {
    mend = () => postgres.ask('select pg_promote() where pg_is_in_recovery()').then(() => {})
    await postgres.halt()
    expectSaid(await fleet.tryToBook(), 'database-away')
    await postgres.put('standby.signal', '')
    await postgres.begin()
    await sayNoWrites()
    expectSaid(await fleet.tryToBook(), 'database-away')
    await expectReadByPatientOnly()
    await mend()
    await fleet.expectGoesOn()
  })

  it('has no connection left for us, or few', async () => {
    mend = () => setAll('connection limit -1')
    await setAll('connection limit 0')
    await eventually('both say so', async () => (await fleet.readiness()).every(({ database }) => !database), 20)
    expectSaid(await fleet.tryToBook(), 'database-away')
    await expectPagesInWords()
    await setAll('connection limit 4')
    // Some get through, and the rest are told.
    for (const refused of await Promise.all(Array.from({ length: 40 }, () => fleet.tryToBook())))
      if (refused) expectSaid(refused, 'database-away')
    await mend()
    await fleet.expectGoesOn()
  })

  it.each(['statement_timeout', 'lock_timeout'])('ends what takes too long (%s)', async (timeout) => {
    mend = () => setAll(`reset ${timeout}`)
    await setAll(`set ${timeout} = '300ms'`)
    const lock = 'begin; lock table daysix.booking in access exclusive mode; select pg_sleep(4)'
    const locked = postgres.ask(lock, 'daysix')
    await new Promise((done) => setTimeout(done, 500))
    for (const each of await Promise.all([1, 2, 3].map(() => fleet.tryToBook()))) expectSaid(each, 'database-away')
    await locked
    await mend()
    await fleet.expectGoesOn()
  })

  it('has a disk that is full', async (context) => {
    const { room } = postgres
    if (!room) return context.skip()
    mend = () => room.empty()
    await room.fill(0)
    let refused: Refused | null = null
    for (let n = 0; n < 400 && !refused; n++) refused = await fleet.tryToBook()
    expectSaid(refused, 'database-full')
    await sayNoWrites()
    expect((await fetch(fleet.privatePage())).status).toBe(200)
    await mend()
    await fleet.expectGoesOn()
  })
  it('ends sessions that nobody uses (idle_session_timeout)', async () => {
    mend = () => setAll('reset idle_session_timeout')
    await setAll(`set idle_session_timeout = '300ms'`)
    await fleet.isWell()
    for (let n = 0; n < 4; n++) {
      await new Promise((done) => setTimeout(done, 600))
      const refused = await fleet.tryToBook()
      if (refused) expectSaid(refused, 'database-away')
    }
    await mend()
    await fleet.expectGoesOn()
  })

  it('has kept all that was acknowledged, and everybody is told once', () => fleet.expectAllTold())
})
