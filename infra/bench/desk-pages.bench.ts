import { DateTime } from 'luxon'
import { serveApi } from '../../tests/harness/api.ts'
import { CLINIC, TestWorld } from '../../tests/harness/world.ts'
import { dateIn } from '../../src/domain/local-time.ts'
import { fillClinic, VISITS } from './full-clinic.ts'

const NOW = '2026-03-09T13:00:00Z'
const WARM_UP = 10
const ROUNDS = 60
/** Server time that the product promises for the 95th percentile. */
const PROMISED_MS = 100

/**
 * Time of each page of the desk with 10,000 visits in the embedded database, beside the bare time of its main query.
 * `processor` is the mean processor time of a request, database and client included: on a busy machine it says more.
 */
export async function bench(): Promise<void> {
  const world = await TestWorld.create(NOW)
  const started = performance.now()
  const { patientId, visitId, replyId } = await fillClinic(world.deps, CLINIC)
  console.log(`desk: ${VISITS} visits written in ${((performance.now() - started) / 1000).toFixed(0)} s`)
  const api = await serveApi(world)
  try {
    for (const [name, page] of Object.entries(pagesOf(world, { patientId, visitId, replyId }))) {
      const bare = await times(page.bare)
      const before = process.cpuUsage()
      const whole = await times(() => ask(api.base, page))
      const { user, system } = process.cpuUsage(before)
      const cpu = (user + system) / 1000 / (WARM_UP + ROUNDS)
      const verdict = percentile(whole, 95) <= PROMISED_MS ? '' : `  above the ${PROMISED_MS} ms promised`
      console.log(
        `desk: ${name.padEnd(16)} p50 ${ms(percentile(whole, 50))}  p95 ${ms(percentile(whole, 95))}   processor ${ms(cpu)}   bare query p95 ${ms(percentile(bare, 95))}${verdict}`,
      )
    }
  } finally {
    await api.close()
    await world.close()
  }
}

interface Page {
  path: string
  form?: Record<string, string>
  bare: () => Promise<unknown>
}

function pagesOf(
  { deps }: TestWorld,
  ids: { patientId: string; visitId: string; replyId: string },
): Record<string, Page> {
  const { read } = deps.store
  const now = new Date(NOW)
  const inDays = (days: number) => DateTime.fromJSDate(now).plus({ days }).toJSDate()
  const list = (from: Date, to: Date, limit: number) =>
    read.bookings.list({ clinicId: CLINIC.id, state: 'booked', from, to, limit })
  const today = dateIn(now, CLINIC.zone)
  const form = {
    phone: '782 555 0199',
    name: 'Halyna Ashquay',
    lmp: '2026-03-02',
    sure: '0',
    usual: '28',
    date: '2026-03-31',
    time: '10:00',
    protocol: 'liquid-based-cytology',
    language: 'en',
    channel: 'sms',
    detail: 'full',
    consent: 'yes',
  }
  return {
    bookings: { path: 'bookings', bare: () => list(now, inDays(28), 41) },
    'bookings, found': {
      path: 'find',
      form: { q: 'brandle' },
      bare: () => read.patients.search(['brandle'], CLINIC.id, 20),
    },
    visit: { path: `visits/${ids.visitId}`, bare: () => read.bookings.get(ids.visitId) },
    'book, empty': { path: 'book', bare: () => read.clinics.list() },
    'book, look': {
      path: 'book/look',
      form,
      bare: () =>
        read.slots.list({ clinicId: CLINIC.id, from: now, to: inDays(80), states: ['free', 'held'], limit: 500 }),
    },
    'call list': {
      path: 'calls',
      bare: () => read.followUps.list({ clinicId: CLINIC.id, unplacedToo: true, open: true, limit: 60 }),
    },
    replies: { path: 'replies', bare: () => read.replies.recent({ clinicId: CLINIC.id, limit: 26 }) },
    conversation: { path: `replies/${ids.patientId}`, bare: () => read.replies.get(ids.replyId) },
    openings: {
      path: 'openings',
      bare: () => read.slots.list({ clinicId: CLINIC.id, from: now, to: inDays(7), limit: 1500 }),
    },
    'day sheet': { path: `day-sheet?date=${today}`, bare: () => list(now, inDays(1), 120) },
    texts: { path: 'texts', bare: () => read.clinics.list() },
    service: { path: 'service', bare: () => read.messages.figures(now, inDays(-1)) },
  }
}

async function ask(base: string, { path, form }: Page): Promise<void> {
  const options = form
    ? { method: 'POST', body: new URLSearchParams(form), headers: { 'Sec-Fetch-Site': 'same-origin' } }
    : {}
  const response = await fetch(`${base}/desk/${CLINIC.id}/${path}`, options)
  await response.text()
  if (!response.ok) throw new Error(`${path}: ${response.status}`)
}

async function times(work: () => Promise<unknown>): Promise<number[]> {
  const all: number[] = []
  for (let round = 0; round < WARM_UP + ROUNDS; round++) {
    const start = performance.now()
    await work()
    if (round >= WARM_UP) all.push(performance.now() - start)
  }
  return all.sort((a, b) => a - b)
}

function percentile(sorted: number[], percent: number): number {
  return sorted[Math.min(sorted.length - 1, Math.ceil((sorted.length * percent) / 100) - 1)]!
}

function ms(time: number): string {
  return `${time.toFixed(1).padStart(6)} ms`
}
