import { randomUUID } from 'node:crypto'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { compose } from '../../src/compose.ts'
import { startService } from '../../src/service.ts'
import { bareBooking, insertsOfABooking } from './same-inserts.ts'
import { benchStores, describedLoopback } from './stores.ts'

const A_TURN = Number(process.env.BENCH_BOOKINGS ?? 100)
const TURNS = 9
/** Not counted: the first ones pay for what a service that runs has paid long ago. */
const WARM_UP = 100
const AT_ONCE = 8

/**
 * Booking through the API against a bare Express service that makes the same inserts, by turns in one run. Promised: half
 * its pace.
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
    const inserts = await insertsOfABooking(composed.database.records)
    const bare = await bareBooking(composed.database.records, inserts)
    const write = (n: number) => sent('POST', bare.url, request(n))
    await all(0, WARM_UP, write)
    tell(name, inserts.written.reduce((sum, { count }) => sum + count, 0), await byTurns(book, write))
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

function tell(name: string, rows: number, [own, other]: number[]): void {
  const ratio = own! / other!
  console.log(`booking: ${name.padEnd(20)} ${own!.toFixed(0)}/s, bare Express with the same ${rows} rows ${other!.toFixed(0)}/s, ratio ${ratio.toFixed(2)}${ratio >= 0.5 ? '' : '  BELOW the 0.5 promised'}`)
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
