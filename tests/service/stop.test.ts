import { setTimeout as pause } from 'node:timers/promises'
import { describe, expect, it } from 'vitest'
import { eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { serverAddress } from '../harness/servers.ts'
import { ownProcesses } from './own-processes.ts'

const postgres = serverAddress('TEST_DATABASE_URL')
/** A process that is not heard for half a minute is taken for dead: this is longer. */
const SLOW_MS = 40_000

describe.skipIf(!postgres)('a worker that is told to stop while another goes on', () => {
  const { here, describeNetwork, start, workers, works } = ownProcesses(postgres!)

  async function startDesk(): Promise<void> {
    start('web')
    await eventually('the desk is ready', () => isReady(here().base))
    await here().desk.clinic()
  }

  /** When a worker last swept. */
  async function sweptAt(healthPort: number): Promise<number> {
    const text = await (await fetch(`http://127.0.0.1:${healthPort}/metrics`)).text()
    return Number(/^daysix_last_sweep_timestamp_seconds ([\d.e+]+)/m.exec(text)?.[1] ?? 0) * 1000
  }

  it('lives until its sends are over, however long they take: nobody takes them over', async () => {
    await describeNetwork({ timeoutMs: 120_000 })
    here().ledger.fateOf = () => ({ answerAfter: SLOW_MS })
    await startDesk()
    const stopped = start('worker')
    await works(1)
    const booking = await here().desk.book()
    await eventually('it is being handed over', () => here().ledger.open.size > 0)
    const healthPort = await freePort()
    start('worker', { HEALTH_PORT: String(healthPort) })
    await works(2)
    await eventually('the other sweeps', async () => (await sweptAt(healthPort)) > 0)

    await stopped.stop()
    const over = Date.now()
    expect(here().ledger.open.size).toBe(0)
    expect(await workers()).toHaveLength(1)
    await eventually('the other has swept since', async () => (await sweptAt(healthPort)) > over + 2_000)
    expect(await here().desk.confirmation(booking)).toMatchObject({ state: 'sent' })
    expect(here().ledger.acceptances).toHaveLength(1)
    const { followUps } = (await here().desk.done('GET', '/follow-ups')) as { followUps: { reason: string }[] }
    expect(followUps.map(({ reason }) => reason)).not.toContain('send-unknown')
  })

  it('finishes its sends all the same when it is told again and again, as a terminal and npm do', async () => {
    await describeNetwork({ timeoutMs: 60_000 })
    here().ledger.fateOf = () => ({ answerAfter: 6_000 })
    await startDesk()
    const stopped = start('worker')
    await works(1)
    const booking = await here().desk.book()
    await eventually('it is being handed over', () => here().ledger.open.size > 0)
    const stops = [stopped.stop()]
    await pause(500)
    expect(here().ledger.open.size).toBe(1)
    stops.push(stopped.stop())
    await Promise.all(stops)
    expect(here().ledger.open.size).toBe(0)
    expect(await workers()).toEqual([])
    expect(await here().desk.confirmation(booking)).toMatchObject({ state: 'sent' })
    expect(here().ledger.acceptances).toHaveLength(1)
  })

  it('stops sending at once, though its daily work goes on', async () => {
    await describeNetwork({})
    await startDesk()
    await here().client.query('begin')
    await here().client.query('lock table daysix.retention_run in access exclusive mode')
    const stopped = start('worker')
    await works(1)
    const waits = async () => (await here().client.query('select from pg_locks where not granted')).rowCount! > 0
    await eventually('its daily work waits', waits)
    const stopping = stopped.stop()
    await eventually('it has taken its leave', async () => (await workers()).length === 0)
    expect(stopped.runs).toBe(true)
    await here().client.query('rollback')
    await stopping
  })

  it('leaves what waits for its turn to the other at once, and nothing is lost or sent twice', async () => {
    const TEXTS = 20
    await describeNetwork({ ratePerSecond: 1 })
    await startDesk()
    const stopped = start('worker')
    await works(1)
    const bookings: string[] = []
    for (let n = 0; n < TEXTS; n++) bookings.push(await here().desk.book())
    await eventually('it has begun', () => here().ledger.acceptances.length >= 2)
    await stopped.stop()
    expect(here().ledger.acceptances.length).toBeLessThan(TEXTS - 5)
    expect(await workers()).toEqual([])
    const states = async () => Promise.all(bookings.map(async (id) => (await here().desk.confirmation(id)).state))
    expect((await states()).filter((state) => state === 'queued')).toHaveLength(
      TEXTS - here().ledger.acceptances.length,
    )

    start('worker')
    const sent = async () => (await states()).every((state) => state === 'sent')
    await eventually('the other has sent the rest', sent, 120)
    expect([...here().ledger.counts().values()]).toEqual(Array(TEXTS).fill(1))
  })
})
