import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'

const VISITS = 12
/** A zone where it is about one in the afternoon now, so that sending is allowed whenever this test runs. */
const zoneAtNoon = () => {
  const hours = 13 - new Date().getUTCHours()
  return `Etc/GMT${hours > 0 ? '-' : '+'}${Math.abs(hours)}`
}

/**
 * The real service in a process of its own on the embedded database, killed with `kill -9` while it sends, against a
 * network that keeps its own ledger in this process.
 */
describe('after kill -9 in the middle of sending', () => {
  let folder: string
  let ledger: Ledger
  let service: ServiceProcess
  let base: string
  let inDoubt: Set<string>

  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-kill-'))
    ledger = new Ledger()
    await ledger.start()
  })
  afterEach(async () => {
    await service.kill()
    await ledger.stop()
    await rm(folder, { recursive: true, force: true })
  })

  async function configured(onUnknown: 'resend' | 'ask-desk'): Promise<void> {
    await writeFile(join(folder, 'ledger.json'), ledger.description(onUnknown))
    const port = await freePort()
    base = `http://127.0.0.1:${port}`
    const environment = {
      ...ledger.environment,
      DATA_DIR: join(folder, 'data'),
      GATEWAYS_DIR: folder,
      PORT: String(port),
      PUBLIC_URL: base,
      SWEEP_SECONDS: '1',
    }
    service = new ServiceProcess({ role: 'all', environment })
    service.start()
    await eventually('the service is ready', () => isReady(base))
    const settings = { gateway: 'ledger' }
    const answer = await call('PUT', '/clinics/main', {
      name: 'Harbour Clinic',
      phone: '+16135550100',
      zone: zoneAtNoon(),
      country: 'CA',
      settings,
    })
    expect(answer.status, JSON.stringify(answer.body)).toBe(200)
  }

  async function call(method: string, path: string, body?: unknown) {
    const headers = { 'Content-Type': 'application/json' }
    const response = await fetch(`${base}/api/v1${path}`, {
      method,
      ...(body !== undefined && { headers, body: JSON.stringify(body) }),
    })
    // eslint-disable-next-line @typescript-eslint/no-explicit-any -- answers are looked into freely
    return { status: response.status, body: (await response.json()) as any }
  }

  async function bookMany(): Promise<string[]> {
    const ids: string[] = []
    for (let n = 0; n < VISITS; n++) {
      const visit = new Date(Date.now() + (20 * 24 + n) * 3_600_000).toISOString()
      const patient = {
        name: `Patient ${n}`,
        phone: `+1613555${String(110 + n).padStart(4, '0')}`,
        language: 'en',
        channel: 'sms',
        detail: 'full',
      }
      const request = {
        protocol: 'liquid-based-cytology',
        visit,
        patient,
        cycle: { lmp: 'no-periods' },
        consent: { recordedBy: 'desk' },
        by: 'desk',
      }
      const { status, body } = await call('POST', '/bookings', request)
      expect(status, JSON.stringify(body)).toBe(201)
      ids.push(body.booking.id)
    }
    return ids
  }

  /** Kills it once some were accepted and others are being handed over; then starts it again. */
  async function killDuringSending(): Promise<string[]> {
    ledger.fateOf = () => ({ answerAfter: 1_500 }) // long enough to be caught in the middle
    const ids = await bookMany()
    await eventually('some are being handed over', () => ledger.open.size > 0)
    await service.kill()
    inDoubt = await claimsLeft()
    ledger.fateOf = () => ({})
    service.start()
    await eventually('the service is ready again', () => isReady(base))
    return ids
  }

  /** What the database says was being handed over: only that may be doubted, and so sent twice. */
  async function claimsLeft(): Promise<Set<string>> {
    const database = await openEmbedded(join(folder, 'data'))
    const { rows } = await database.records.query(`select id from message where state = 'sending'`)
    await database.close()
    return new Set(rows.map(({ id }) => String(id)))
  }

  const messagesOf = async (bookings: string[]) => {
    const all = await Promise.all(bookings.map((id) => call('GET', `/bookings/${id}`)))
    return all.map(({ body }) => body)
  }

  it('sends everything, and at most those in flight at the kill twice, where the clinic chose to send again', async () => {
    await configured('resend')
    const bookings = await killDuringSending()
    expect(bookings).toHaveLength(VISITS)
    await eventually('all confirmations are sent', async () => {
      const found = await messagesOf(bookings)
      return found.every(({ messages }) =>
        messages.some((m: Shown) => m.kind === 'confirmation' && ['sent', 'delivered'].includes(m.state)),
      )
    })
    const counts = ledger.counts()
    const confirmed = new Set(ledger.acceptances.map(({ to }) => to))
    expect(confirmed.size).toBe(VISITS) // nothing lost
    const twice = [...counts].filter(([, count]) => count > 1).map(([id]) => id)
    expect([...counts.values()].every((count) => count <= 2)).toBe(true)
    expect(twice.filter((id) => !inDoubt.has(id))).toEqual([])
    // Each is recorded as such, where a person would look.
    const trails = (await messagesOf(bookings)).flatMap(
      ({ trail }) => trail as { what: string; facts: { message?: string } }[],
    )
    const recorded = trails.filter(({ what }) => what === 'sent-again').map(({ facts }) => facts.message)
    for (const id of twice) expect(recorded).toContain(id)
    // And the plan goes on: what is not yet due is still planned.
    expect(
      (await messagesOf(bookings)).every(({ messages }) =>
        messages.some((m: Shown) => m.kind === 'prep' && ['planned', 'queued'].includes(m.state)),
      ),
    ).toBe(true)
  })

  it('sends nothing twice and leaves those in flight to the desk, where the clinic chose to ask', async () => {
    await configured('ask-desk')
    const bookings = await killDuringSending()
    await eventually('every confirmation is settled', async () => {
      const found = await messagesOf(bookings)
      return found.every(({ messages }) =>
        messages.some(
          (m: Shown) => m.kind === 'confirmation' && ['sent', 'delivered', 'undelivered'].includes(m.state),
        ),
      )
    })
    expect([...ledger.counts().values()].every((count) => count === 1)).toBe(true)
    const unknown = (await messagesOf(bookings)).flatMap(({ messages }) =>
      (messages as Shown[]).filter((m) => m.kind === 'confirmation' && m.state === 'undelivered'),
    )
    const { body } = await call('GET', '/follow-ups?limit=100')
    expect(body.followUps.filter(({ reason }: { reason: string }) => reason === 'courtesy-unknown')).toHaveLength(
      unknown.length,
    )
    const seen = new Set(ledger.acceptances.map(({ id }) => id))
    const settled = new Set([...seen, ...unknown.map(({ id }) => id)])
    expect(settled.size).toBeGreaterThanOrEqual(VISITS) // accepted, or told to a person
  })
})

interface Shown {
  id: string
  kind: string
  state: string
}
