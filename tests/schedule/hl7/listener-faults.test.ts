import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import pg from 'pg'
import { afterEach, describe, expect, it } from 'vitest'
import { eventually, freePort, isReady, ServiceProcess } from '../../../infra/chaos/service-process.ts'
import { OwnPostgres, POSTGRES } from '../../harness/own-postgres.ts'
import { serverAddress } from '../../harness/servers.ts'
import { Desk } from '../../service/desk.ts'
import { OWN_KEY, ownProcesses } from '../../service/own-processes.ts'
import { bookingOf } from './own-listener.ts'
import { pythonHl7Present, pythonSender } from './python-sender.ts'

// A sender of other people's making (python-hl7) that keeps a message until it is accepted has a ledger of what was;
// the database is asked past the service.
const DESCRIBED = `name: skerry
zone: UTC
patientId: { authority: SKERRY, type: MR }
clinics: { GYN1: main }
types: { PAP: { protocol: liquid-based-cytology } }
usualLanguage: en
`
const IN_A_MONTH = new Date(Date.now() + 30 * 86_400_000).toISOString().slice(0, 10)
const MESSAGES = 150
const messages = Array.from({ length: MESSAGES }, (_, n) => bookingOf(n, { on: IN_A_MONTH.replaceAll('-', '') }))

/** When the visit of a message begins, by its control id: each at its own minute. */
async function startsOf(client: pg.Client): Promise<(id: string) => string> {
  const { rows } = await client.query<{ zone: string }>(`select zone from clinic where id = 'main'`)
  // `Etc/GMT+3` is three hours behind (POSIX has the sign the other way round).
  const ahead = -Number(/^Etc\/GMT([+-]\d+)$/.exec(rows[0]!.zone)![1])
  return (id) => {
    const n = Number(id.slice(1))
    const local = Date.parse(`${IN_A_MONTH}T08:00:00Z`) + n * 60_000
    return new Date(local - ahead * 3_600_000).toISOString()
  }
}

async function booked(client: pg.Client): Promise<string[]> {
  const { rows } = await client.query<{ visit_at: Date }>(
    `select visit_at from booking where state = 'booked' order by visit_at`,
  )
  return rows.map(({ visit_at }) => visit_at.toISOString())
}

const accepted = (lines: readonly string[][]) => lines.filter(([code]) => code === 'AA').map(([, id]) => id!)

async function settings(folder: string): Promise<Record<string, string>> {
  const FEEDS_DIR = join(folder, 'feeds')
  await mkdir(FEEDS_DIR)
  await writeFile(join(FEEDS_DIR, 'skerry.yaml'), DESCRIBED)
  return { FEEDS_DIR, MLLP_PORT: String(await freePort()) }
}

/** Sends all, with trouble in the middle. */
async function sendThrough(client: pg.Client, port: number, trouble: (ids: () => string[]) => Promise<void>) {
  const startOf = await startsOf(client)
  const { lines, ended } = pythonSender({ how: 'until-accepted', port, messages, pause: 0.02 })
  await trouble(() => accepted(lines))
  expect(await ended).toEqual({ code: 0, said: '' })
  expect(accepted(lines)).toEqual(messages.map((_, n) => `C${n}`))
  expect(await booked(client)).toEqual(accepted(lines).map(startOf))
  return lines
}

const postgres = serverAddress('TEST_DATABASE_URL')
describe.skipIf(!postgres || !pythonHl7Present())('a service that ends in mid-stream', () => {
  const { here, describeNetwork, start } = ownProcesses(postgres!)

  async function throughEnds(end: (process: ServiceProcess) => Promise<void>): Promise<void> {
    await describeNetwork()
    const more = await settings(here().folder)
    const web = start('web', more)
    await eventually('it is ready', () => isReady(here().base))
    await here().desk.clinic()
    const { client } = here()
    const startOf = await startsOf(client)
    await sendThrough(client, Number(more.MLLP_PORT), async (ids) => {
      for (const count of [20, 80]) {
        await eventually(`${count} are accepted`, () => ids().length >= count)
        await end(web)
        const there = new Set(await booked(client))
        expect(ids().filter((id) => !there.has(startOf(id)))).toEqual([])
        web.start()
      }
    })
  }

  it('by a signal: nothing that was accepted is missing, and nothing is there twice', () =>
    throughEnds((process) => process.stop()))

  it('by kill -9: the same', () => throughEnds((process) => process.kill()))
})

describe.skipIf(!POSTGRES || !pythonHl7Present())('a database that is away in mid-stream', () => {
  const ends: (() => Promise<unknown>)[] = []
  afterEach(async () => {
    for (const end of ends.splice(0).toReversed()) await end()
  })

  it('has the sender keep what it sends, and in the end everything is there once', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-mllp-'))
    ends.push(() => rm(folder, { recursive: true, force: true }))
    const own = await OwnPostgres.start()
    ends.push(() => own.end())
    await own.ask(`create role daysix login password 'invented'`)
    await own.ask('create database daysix owner daysix')
    const DATABASE_URL = own.address('daysix', 'invented', 'daysix')
    const more = await settings(folder)
    const port = await freePort()
    const environment = { ...more, DATABASE_URL, DATA_DIR: folder, DAYSIX_KEY: OWN_KEY, PORT: String(port) }
    const web = new ServiceProcess({ role: 'web', environment })
    ends.push(() => web.kill())
    web.start()
    const base = `http://127.0.0.1:${port}`
    await eventually('it is ready', () => isReady(base))
    await new Desk(base).clinic('pocket')
    const asked = async () => {
      const client = new pg.Client({ connectionString: DATABASE_URL, options: '-c search_path=daysix' })
      client.on('error', () => {})
      await client.connect()
      ends.push(() => client.end())
      return client
    }
    const startOf = await startsOf(await asked())
    const { lines, ended } = pythonSender({
      how: 'until-accepted',
      port: Number(more.MLLP_PORT),
      messages,
      pause: 0.02,
    })
    for (const count of [20, 70]) {
      await eventually(`${count} are accepted`, () => accepted(lines).length >= count)
      await own.halt()
      const [refusals, before] = [lines.filter(([code]) => code === 'AR').length, accepted(lines).length]
      await eventually('it refuses', () => lines.filter(([code]) => code === 'AR').length > refusals)
      expect(accepted(lines).length - before).toBeLessThanOrEqual(1)
      await own.begin()
    }
    expect(await ended).toEqual({ code: 0, said: '' })
    expect(accepted(lines)).toEqual(messages.map((_, n) => `C${n}`))
    expect(lines.filter(([code]) => code === 'AE')).toEqual([])
    expect(await booked(await asked())).toEqual(accepted(lines).map(startOf))
  })
})
