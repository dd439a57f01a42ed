import { existsSync } from 'node:fs'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import pg from 'pg'
import { describe, expect, it } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { freshDatabase, serverAddress } from '../harness/servers.ts'
import { Desk } from '../service/desk.ts'

// A new version comes into use beside the one before, under load. Where the one before lies is said by ROLLING_FROM: a
// folder with its sources and what they need. See infra/README.md, "Trying it".
const postgres = serverAddress('TEST_DATABASE_URL')
const older = process.env.ROLLING_FROM

describe.skipIf(!postgres || !older)('a rolling deploy', () => {
  it('loses nothing and sends nothing twice: old and new run side by side, and the old one can be started again', async () => {
    const database = await freshDatabase(postgres!)
    // It comes with the tables of this version; those of the one before are made by its own first start.
    const client = new pg.Client({ connectionString: database.url, options: '-c search_path=daysix' })
    await client.connect()
    await client.query('drop schema if exists daysix cascade; drop schema if exists bullmq cascade')
    const folder = await mkdtemp(join(tmpdir(), 'daysix-rolling-'))
    const ledger = new Ledger()
    await ledger.start()
    await writeFile(join(folder, 'network.json'), ledger.description('ask-desk'))
    const base = `http://127.0.0.1:${await freePort()}`
    const running: ServiceProcess[] = []
    const start = async (role: 'web' | 'worker', root: string | undefined, port: string) => {
      const own = { GATEWAYS_DIR: folder, PUBLIC_URL: base, SWEEP_SECONDS: '1', DATABASE_URL: database.url }
      const key = { DAYSIX_KEY: Buffer.alloc(32, 9).toString('base64'), ...ledger.environment }
      const ports = role === 'web' ? { PORT: port } : { HEALTH_PORT: port }
      const member = new ServiceProcess({ role, environment: { ...own, ...key, ...ports }, ...(root && { root }) })
      running.push(member)
      member.start()
      await eventually(`${role} is ready`, () => isReady(`http://127.0.0.1:${port}`), 30).catch((error: Error) => {
        throw new Error(`${error.message}\n${member.log.join('\n')}`)
      })
      return member
    }
    try {
      const webPort = new URL(base).port
      const oldWeb = await start('web', older, webPort)
      const oldWorkers = [
        await start('worker', older, String(await freePort())),
        await start('worker', older, String(await freePort())),
      ]
      const desk = new Desk(base)
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
      await start('worker', undefined, String(await freePort()))
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
      await start('web', undefined, webPort)
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
    } finally {
      await Promise.all(running.map((member) => member.kill()))
      await client.end()
      await ledger.stop()
      await database.drop()
      await rm(folder, { recursive: true, force: true })
    }
  }, 300_000)
})
