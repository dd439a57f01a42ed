import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import net from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { compose, type Composed } from '../../src/compose.ts'
import { answering } from '../../src/adapters/schedule/hl7/answering.ts'
import { startListener } from '../../src/adapters/schedule/hl7/listener.ts'
import { USUAL_ASK_AGAIN_MONTHS } from '../../src/domain/patients/changed-hands.ts'
import { DEFAULT_HOURS } from '../../src/domain/preparation/sending-hours.ts'
import type { Clinic } from '../../src/domain/region/clinic.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import type { ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'
import { USUAL_MOVE_LIMIT } from '../../src/domain/visits/move-limit.ts'
import { takeNews } from '../../src/flows/schedule/take-news.ts'
import type { BenchOptions } from './bench.ts'
import { comparison, paceOf, type Run } from './paired-runs.ts'
import { ownTime, serverTime } from './processor-time.ts'
import { bareInserts, now, takenAway, writtenSince } from './same-rows.ts'
import { benchStores, describedLoopback } from './stores.ts'

const VISITS = 10_000
const RUNS = 10
/** As many as `takeNews` takes in one transaction. */
const AT_ONCE = 50
const MESSAGES = 400
const SENDERS = 8

const FEED: Feed = {
  ...{ name: 'bench', zone: 'UTC', charset: 'windows-1252', key: 'filler', keySystem: null },
  ...{ patientId: { authority: '', type: '' }, clinics: { '*': 'main' }, clinicians: {}, statuses: {}, languages: {} },
  types: { PAP: { protocol: 'liquid-based-cytology', purpose: 'routine' } },
  ...{ usualLanguage: 'en', consent: { field: 'agreed', yes: ['Y'] }, settleMinutes: 3, columns: {}, dateOrder: null },
  ...{ hl7Sender: { application: '', facility: '' }, tell: null, production: true, testNames: [] },
}

/**
 * News of visits, taken by the running service on PostgreSQL, against bare inserts of the very same rows, by turns in
 * one run (promised: half their pace); the same day sent again (promised: ten times the pace of the first); and how long it
 * takes from a message over MLLP until its plan is committed (promised: under a second for 95 of 100).
 */
export async function bench({ n = VISITS, runs = RUNS }: BenchOptions): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-bench-'))
  await writeFile(join(folder, 'loopback.json'), describedLoopback('http://127.0.0.1:9/none'))
  for (const store of await benchStores(folder, ['PostgreSQL'])) {
    const composed = await compose(store.config, { notice: () => {}, feeds: [FEED] })
    await composed.deps.store.transact((tx) => tx.clinics.put(CLINIC))
    const day = Array.from({ length: n }, (_, at) => newsOf(at))
    await first(composed, day, runs)
    await again(composed, day)
    await overMllp(composed, n)
    await composed.close()
    await store.close()
  }
  await rm(folder, { recursive: true, force: true })
}

let pace = 0

async function first(composed: Composed, day: readonly ScheduleNews[], runs: number): Promise<void> {
  const { records } = composed.database
  const measured = async (count: number, work: () => Promise<unknown>): Promise<Run> => {
    const before = ownTime() + (await serverTime(records))
    const began = performance.now()
    await work()
    const took = (performance.now() - began) / 1000
    return { pace: count / took, cpuMs: (ownTime() + (await serverTime(records)) - before) / count }
  }
  const [own, bare, single]: [Run[], Run[], Run[]] = [[], [], []]
  let rows = 0
  for (let run = 0; run < runs; run++) {
    const some = day.slice(Math.floor((day.length * run) / runs), Math.floor((day.length * (run + 1)) / runs))
    const since = await now(records)
    own.push(await measured(some.length, () => take(composed, some, 'book')))
    const written = await writtenSince(records, since)
    rows += written.reduce((sum, { rows: all }) => sum + all.length, 0)
    await takenAway(records, written, since)
    single.push(await measured(some.length, () => bareInserts(records, written, some.length)))
    await takenAway(records, written, since)
    bare.push(await measured(some.length, () => bareInserts(records, written, Math.ceil(some.length / AT_ONCE))))
  }
  const { ratio, text } = comparison(own, bare)
  const { text: alone } = comparison(own, single)
  console.log(`feed: against each visit's rows in a transaction of their own ${paceOf(single)}, ${alone}`)
  pace = day.length / own.reduce((sum, each) => sum + day.length / runs / each.pace, 0)
  const each = (rows / day.length).toFixed(1)
  console.log(
    `feed: ${day.length} visits ${paceOf(own)}, bare inserts of the same ${each} rows a visit ${paceOf(bare)},`,
  )
  console.log(`      ${text}${ratio >= 0.5 ? '' : '  BELOW the 0.5 promised'}`)
}

/** The same messages, and then the same day in messages of another night. */
async function again({ deps, ...rest }: Composed, day: readonly ScheduleNews[]): Promise<void> {
  const tonight = day.map((one) => ({ ...one, messageId: `${one.messageId}b`, madeAt: deps.clock.now() }))
  for (const [name, news] of [
    ['the same messages again', day],
    ['the same day told anew', tonight],
  ] as const) {
    const began = performance.now()
    await take({ deps, ...rest }, news, 'nothing')
    const times = news.length / ((performance.now() - began) / 1000) / pace
    const verdict = times >= 10 ? '' : '  BELOW the 10 promised'
    console.log(`feed: ${name} ${(times * pace).toFixed(0)}/s, ${times.toFixed(1)} times the first${verdict}`)
  }
}

async function take({ deps }: Composed, news: readonly ScheduleNews[], does: string): Promise<void> {
  const lines = await takeNews(
    deps,
    FEED.name,
    news.map((one) => ({ news: [one] })),
  )
  const other = lines.find((line) => line.does !== does)
  if (other) throw new Error(`not ${does}: ${JSON.stringify(other)}`)
}

/** From the first byte sent until the acknowledgement, which comes after the commit. */
async function overMllp({ deps, log, metrics }: Composed, from: number): Promise<void> {
  const around = { log, metrics: metrics.feeds }
  const listener = await startListener({ host: '127.0.0.1', port: 0 }, answering({ deps, ...around }), around)
  let next = from
  for (const senders of [1, SENDERS]) {
    const until = next + MESSAGES
    const took: number[] = []
    const one = async () => {
      const socket = net.connect(listener.port, '127.0.0.1').setNoDelay(true)
      while (next < until) {
        const message = messageOf(next++)
        const began = performance.now()
        socket.write(`\x0b${message}\x1c\r`)
        const answer = await new Promise<string>((done) => socket.once('data', (chunk) => done(chunk.toString())))
        took.push(performance.now() - began)
        if (!answer.includes('MSA|AA|')) throw new Error(answer)
      }
      socket.destroy()
    }
    await Promise.all(Array.from({ length: senders }, one))
    const at = (share: number) => took.sort((a, b) => a - b)[Math.ceil(took.length * share) - 1]!
    const [half, most] = [at(0.5), at(0.95)].map((ms) => `${ms.toFixed(0)} ms`)
    const verdict = at(0.95) < 1000 ? '' : '  ABOVE the second promised'
    console.log(
      `feed: ${MESSAGES} messages over MLLP by ${senders}: kept after ${half} (median), ${most} (p95)${verdict}`,
    )
  }
  await listener.stop()
}

const CLINIC: Clinic = {
  ...{ id: 'main', name: 'Harbour Clinic', phone: '+16135550100', zone: 'UTC', country: 'CA' },
  settings: {
    ...{ hours: DEFAULT_HOURS, movePolicy: 'at-once', lapsePolicy: 'desk-decides', moveLimit: USUAL_MOVE_LIMIT },
    ...{ minors: null, askAgainMonths: USUAL_ASK_AGAIN_MONTHS, clock: '24', secondOnPaper: false, visitMinutes: null },
    ...{
      holdHours: 24,
      minConfidence: 0.5,
      gateway: 'loopback',
      emergency: null,
      calendar: 'none',
      calendarEdition: 1,
      address: null,
      directions: null,
    },
  },
}

const START = Date.now() + 10 * 86_400_000
const startOf = (n: number) => new Date(Math.floor(START / 600_000) * 600_000 + (n % 4_000) * 600_000)
const phoneOf = (n: number) => `+1${613 + (n % 100)}555${String(100 + (Math.floor(n / 100) % 100)).padStart(4, '0')}`

/** Each of another patient, at one of many clinicians. */
function newsOf(n: number): ScheduleNews {
  return {
    ...{ sender: 'BENCH', messageId: `M${n}`, event: 'booked', sequence: null, madeAt: new Date(), doubts: [] },
    key: { id: `F${n}`, namespace: '', occurrence: '' },
    visit: {
      ...{ startsAt: startOf(n), minutes: 10, places: ['GYN1'], clinicians: [`N${n % 7}`], types: ['PAP'], status: '' },
      consent: true,
    },
    patient: {
      ids: [{ value: `P${n}`, authority: '', type: 'MR' }],
      ...{ name: `Patient ${n}`, phones: [{ number: phoneOf(n), kind: 'mobile' }] },
    },
  }
}

function messageOf(n: number): string {
  const stamp = (at: Date) => at.toISOString().replace(/\D/g, '').slice(0, 14)
  return [
    `MSH|^~\\&|BENCH||DAYSIX||${stamp(new Date())}+0000||SIU^S12^SIU_S12|C${n}|P|2.5.1`,
    `SCH||F${n}|||||||10|min|^^^${stamp(startOf(n))}+0000||||||||||||||Booked`,
    `PID|1||P${n}^^^^MR||Patient^${n}|||F|||||${phoneOf(n)}^PRN^CP`,
    'RGS|1|A',
    'AIS|1|A|PAP',
    'AIL|1|A|GYN1',
    `AIP|1|A|N${n % 7}`,
    '',
  ].join('\r')
}
