import { randomUUID } from 'node:crypto'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import express from 'express'
import { listen } from '../../src/adapters/http/listen.ts'
import type { Pool } from '../../src/adapters/db/pool.ts'
import { compose } from '../../src/compose.ts'
import { startService } from '../../src/service.ts'
import { benchStores, describedLoopback } from './stores.ts'

const A_TURN = Number(process.env.BENCH_BOOKINGS ?? 100)
const TURNS = 9
/** Not counted: the first ones pay for what a service that runs has paid long ago. */
const WARM_UP = 100
const AT_ONCE = 8
/** Rows that one booking writes, by table; counted once from the booking itself, so that the bare service writes as many. */
type Rows = Record<string, number>

/**
 * Booking through the API against a bare Express service that writes as many rows in one transaction, by turns in one run.
 * Promised: half its pace.
 */
export async function bench(): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  await writeFile(join(folder, 'loopback.json'), describedLoopback('http://127.0.0.1:9/none'))
  for (const { name, config, close } of await benchStores(folder)) {
    const composed = await compose({ ...config, port: 0, openDesk: true }, { inMemory: name === 'embedded', notice: () => {} })
    const running = await startService({ ...config, port: 0 }, composed, 'web')
    const clinic = { name: 'Harbour Clinic', phone: '+16135550100', zone: 'UTC', country: 'CA', settings: { gateway: 'loopback' } }
    await sent('PUT', `${running.url}/api/v1/clinics/main`, clinic)
    const book = (n: number) => sent('POST', `${running.url}/api/v1/bookings`, request(n))
    await all(0, WARM_UP, book)
    const rows = await rowsPerBooking(composed.database.records)
    const bare = await bareService(composed.database.records, rows)
    const write = (n: number) => sent('POST', bare.url, request(n))
    await all(0, WARM_UP, write)
    tell(name, rows, await byTurns(book, write))
    await bare.stop()
    await running.stop()
    await composed.close()
    await close()
  }
  await rm(folder, { recursive: true, force: true })
}

/** Paces a second of both, each the median of its turns: a machine that others use too is not equally quick all the time. */
async function byTurns(...both: ((n: number) => Promise<void>)[]): Promise<number[]> {
  const paces = both.map((): number[] => [])
  for (let turn = 0; turn < TURNS; turn++) {
    for (const [which, one] of both.entries()) {
      const from = WARM_UP + turn * A_TURN
      const began = performance.now()
      await all(from, from + A_TURN, one)
      paces[which]!.push(A_TURN / ((performance.now() - began) / 1000))
    }
  }
  return paces.map((each) => each.sort((a, b) => a - b)[Math.floor(TURNS / 2)]!)
}

function tell(name: string, rows: Rows, [own, other]: number[]): void {
  const ratio = own! / other!
  const total = Object.values(rows).reduce((sum, count) => sum + count, 0)
  console.log(`booking: ${name.padEnd(20)} ${own!.toFixed(0)}/s, bare Express with the same ${total} rows ${other!.toFixed(0)}/s, ratio ${ratio.toFixed(2)}${ratio >= 0.5 ? '' : '  BELOW the 0.5 promised'}`)
}

function request(n: number) {
  const visit = new Date(Date.now() + (200 + n) * 3_600_000).toISOString()
  const patient = { name: `Patient ${n}`, phone: `+1${613 + (n % 100)}555${String(100 + (Math.floor(n / 100) % 100)).padStart(4, '0')}`, language: 'en', channel: 'sms', detail: 'full' }
  return { protocol: 'liquid-based-cytology', visit, patient, cycle: { lmp: 'no-periods' }, consent: { recordedBy: 'desk' }, by: 'desk' }
}

async function sent(method: string, url: string, body: object): Promise<void> {
  const headers = { 'Content-Type': 'application/json', 'Idempotency-Key': randomUUID() }
  const response = await fetch(url, { method, headers, body: JSON.stringify(body) })
  if (response.status >= 300) throw new Error(`${url}: ${response.status} ${await response.text()}`)
  await response.arrayBuffer()
}

async function all(from: number, to: number, one: (n: number) => Promise<void>): Promise<void> {
  let next = from
  await Promise.all(Array.from({ length: AT_ONCE }, async () => { while (next < to) await one(next++) })) // prettier-ignore
}

const TABLES = ['patient', 'patient_word', 'booking', 'slot', 'consent', 'message', 'happening', 'idempotency', 'audit']

async function rowsPerBooking(pool: Pool): Promise<Rows> {
  const rows: Rows = {}
  for (const table of TABLES) {
    const { rows: found } = await pool.query(`select count(*)::int as n from daysix.${table}`)
    rows[table] = Math.round((found[0]!.n as number) / WARM_UP)
  }
  return rows
}

/** The least that could be called the same work: reads JSON, writes as many rows of about the same size, answers. */
export async function bareService(pool: Pool, rows: Rows) {
  await pool.query('create table if not exists daysix.bare (id bigint generated always as identity primary key, a text, b text, at timestamptz default now())')
  await pool.query('create index bare_a on daysix.bare (a)')
  const app = express().use(express.json())
  app.post('/', async (asked, response) => {
    const client = await pool.connect()
    await client.query('begin')
    for (const count of Object.values(rows)) {
      if (count === 0) continue
      const values = Array.from({ length: count }, (_, at) => `($${at * 2 + 1}, $${at * 2 + 2})`).join(', ')
      await client.query(`insert into daysix.bare (a, b) values ${values}`, Array.from({ length: count }, () => [asked.body.patient.phone, 'x'.repeat(200)]).flat())
    }
    await client.query('commit')
    client.release()
    response.status(201).json({ ok: true })
  })
  return listen(app, '127.0.0.1', 0)
}
