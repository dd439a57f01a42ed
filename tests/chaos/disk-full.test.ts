import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Room } from '../../infra/chaos/room.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'

const ENTRY = new URL('../../infra/chaos/service.ts', import.meta.url).pathname
const MEGABYTES = 160

/** Mounting needs root on Linux, and not every container lets it. */
async function canMount(): Promise<boolean> {
  const folder = await mkdtemp(join(tmpdir(), 'daysix-mount-'))
  const room = await Room.make(folder, 1)
  await room?.clear()
  await rm(folder, { recursive: true, force: true })
  return room !== null
}

describe.skipIf(!(await canMount()))('a disk that is full, on the embedded store', () => {
  let folder: string
  let room: Room
  let base: string
  let environment: Record<string, string>
  let service: ServiceProcess

  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-full-'))
    room = (await Room.make(folder, MEGABYTES))!
    const port = await freePort()
    base = `http://127.0.0.1:${port}`
    environment = { DATA_DIR: join(folder, 'data'), PORT: String(port), PUBLIC_URL: base, SWEEP_SECONDS: '1' }
    service = new ServiceProcess({ role: 'all', environment, entry: ENTRY })
    service.start()
    await eventually('the service is ready', () => isReady(base))
    const clinic = { name: 'Harbour Clinic', phone: '+17825550190', zone: 'America/Halifax', country: 'CA' }
    expect((await call('PUT', '/clinics/harbour', clinic)).status).toBe(200)
  })
  afterEach(async () => {
    await service.kill()
    await room.clear()
    await rm(folder, { recursive: true, force: true })
  })

  async function call(method: string, path: string, body?: unknown) {
    const headers = { 'Content-Type': 'application/json' }
    const response = await fetch(`${base}/api/v1${path}`, {
      method,
      ...(body !== undefined && { headers, body: JSON.stringify(body) }),
    })

    return {
      status: response.status,
      type: response.headers.get('Content-Type') ?? '',
      // eslint-disable-next-line @typescript-eslint/no-explicit-any -- answers of the API as they are
      body: (await response.json()) as any,
    }
  }

  function book(n: number) {
    const visit = new Date(Date.now() + (20 * 24 + n) * 3_600_000).toISOString()
    const patient = {
      name: `Patient ${n}`,
      phone: `+1782555${String(100 + (n % 100)).padStart(4, '0')}`,
      language: 'en',
      channel: 'sms',
      detail: 'full',
    }
    return call('POST', '/bookings', {
      clinic: 'harbour',
      protocol: 'liquid-based-cytology',
      visit,
      patient,
      cycle: { lmp: 'no-periods' },
      consent: { recordedBy: 'desk' },
      by: 'desk',
    })
  }

  it('is said in problem documents, and over as soon as there is room', async () => {
    const first = await book(0)
    expect(first.status, JSON.stringify(first.body)).toBe(201)
    await room.fill(0)
    const kept: string[] = [first.body.booking.id]
    const refused = await until(async (n) => {
      const answer = await book(n)
      if (answer.status === 201) kept.push(answer.body.booking.id)
      return answer.status >= 500 ? answer : null
    })
    expect(refused.type).toMatch(/^application\/problem\+json/)
    expect(refused).toMatchObject({ status: 503, body: { code: 'database-full' } })
    expect(service.log.join('\n')).not.toMatch(/"stack"/)
    const health = async () => (await fetch(`${base}/health/ready`)).json() as Promise<Record<string, boolean>>
    await eventually('it says so', async () => (await health()).writes === false, 20)
    expect(await health()).toMatchObject({ ready: false, database: true })
    // What is kept can be read meanwhile.
    expect((await call('GET', `/bookings/${kept[0]}`)).status).toBe(200)
    expect(service.runs).toBe(true)
    await room.empty()
    expect((await book(500)).status).toBe(201)
    await eventually('it is ready again', () => isReady(base), 20)
    for (const id of kept) expect((await call('GET', `/bookings/${id}`)).status).toBe(200)
  })

  it('ends the process with a word about why, when the log of the database cannot go on; nothing is lost', async () => {
    const { body } = await book(0)
    await room.fill(0)
    service.tell({ turnLog: true })
    await eventually('the process has ended', () => !service.runs)
    expect(service.log.join('\n')).toMatch(/The embedded database has given up: .*No space left on device/)

    // As its unit file has it, the service is started again; while there is no room it says so and ends.
    const again = new ServiceProcess({ role: 'all', environment })
    again.start()
    await eventually('the process has ended', () => !again.runs)
    expect(again.log.join('\n')).toMatch(/The database in the data folder does not start: .*No space left on device/)

    await room.empty()
    service.start()
    await eventually('the service is ready again', () => isReady(base))
    expect((await call('GET', `/bookings/${body.booking.id}`)).status).toBe(200)
    expect((await book(1)).status).toBe(201)
  })
})

/** Again and again, up to so many times, until there is an answer. */
async function until<T>(attempt: (n: number) => Promise<T | null>, most = 400): Promise<T> {
  for (let n = 1; n <= most; n++) {
    const answer = await attempt(n)
    if (answer) return answer
  }
  throw new Error(`not within ${most} attempts`)
}
