import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { describe, expect, it } from 'vitest'
import { type ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { serverAddress } from '../harness/servers.ts'
import { ownProcesses } from '../service/own-processes.ts'

// A new version comes into use beside the one before, under load. Where the one before lies is said by ROLLING_FROM: a
// folder with its sources and what they need. See infra/README.md, "Trying it".
const postgres = serverAddress('TEST_DATABASE_URL')
const older = process.env.ROLLING_FROM

describe.skipIf(!postgres || !older)('a rolling deploy', () => {
  const { here, describeNetwork, start } = ownProcesses(postgres!)

  async function ready(role: 'web' | 'worker', root?: string): Promise<ServiceProcess> {
    const port = role === 'web' ? new URL(here().base).port : String(await freePort())
    const member = start(role, role === 'worker' ? { HEALTH_PORT: port } : {}, root)
    await eventually(`${role} is ready`, () => isReady(`http://127.0.0.1:${port}`), 30)
    return member
  }

  it('loses nothing and sends nothing twice: old and new run side by side, and the old one can be started again', async () => {
    await describeNetwork()
    const { client, ledger, desk } = here()
    // It comes with the tables of this version; those of the one before are made by its own first start.
    await client.query('drop schema if exists daysix cascade; drop schema if exists bullmq cascade')
    const oldWeb = await ready('web', older)
    const oldWorkers = [await ready('worker', older), await ready('worker', older)]
    await desk.clinic()
    const booked: string[] = []
    let goesOn = true
    const failed: string[] = []
    const load = async () => {
      while (goesOn) {
        await desk.book().then(
          (id) => booked.push(id),
          (error: Error) => failed.push(error.message),
        )
        await pause(100)
      }
    }
    const loading = load()
    await eventually('it sends', () => ledger.acceptances.length > 10)
    // The new version brings the tables up to date beside the old ones.
    await ready('worker')
    const atNew = ledger.acceptances.length
    await eventually('all go on', () => ledger.acceptances.length > atNew + 20)
    // An old one may be started again meanwhile, as when a machine restarts: from the version on that looks at the
    // floor of the tables.
    if (existsSync(join(older!, 'src/adapters/db/migrations/0026-operating.ts'))) {
      await oldWorkers[0]!.stop()
      oldWorkers[0]!.start()
      await pause(8_000)
      expect(oldWorkers[0]!.runs, oldWorkers[0]!.log.join('\n')).toBe(true)
    }
    await Promise.all(oldWorkers.map((worker) => worker.stop()))
    await oldWeb.stop()
    await ready('web')
    const atEnd = ledger.acceptances.length
    await eventually('the new ones go on alone', () => ledger.acceptances.length > atEnd + 10)
    goesOn = false
    await loading
    const one = async (sql: string) => (await client.query<{ n: number }>(sql)).rows[0]!.n
    await eventually(
      'nothing waits',
      async () =>
        (await one(
          `select count(*)::int as n from message where state in ('queued', 'sending') and send_at < now()`,
        )) === 0,
      100,
    )
    expect(await one('select count(*)::int as n from booking')).toBeGreaterThanOrEqual(booked.length)
    expect([...ledger.counts().values()].filter((count) => count > 1)).toEqual([])
    expect(
      await one(`select count(*)::int as n from follow_up where reason in ('send-unknown', 'courtesy-unknown')`),
    ).toBe(0)
    expect(
      await one(
        `select count(*)::int as n from message where kind = 'confirmation' and state not in ('sent', 'delivered')`,
      ),
    ).toBe(0)
    console.log(
      `${booked.length} bookings, ${ledger.acceptances.length} texts, ${failed.length} refused while no web answered`,
    )
  }, 300_000)
})
