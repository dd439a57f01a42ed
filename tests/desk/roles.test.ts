import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { TestWorld } from '../harness/world.ts'
import { cookieOf, hire, serveClosed, type Served } from '../access/signed-in.ts'
import { DESK, NOW } from './reception.ts'

let world: TestWorld
let served: Served
const cookies: Record<string, Record<string, string>> = {}

beforeAll(async () => {
  world = await TestWorld.create(NOW)
  await world.book({ visit: '2026-03-12T10:00', clinician: 'room 1', name: 'Marit Quillon', phone: '782 555 0110' })
  await world.book({
    visit: '2026-03-12T10:00',
    clinician: 'room 2',
    name: 'Tova Brandle',
    phone: '782 555 0111',
    consent: null,
  })
  served = await serveClosed(world)
  const clinician = await hire(world, {
    login: 'dr-room-one',
    role: 'clinician',
    clinicId: 'harbour',
    clinician: 'room 1',
  })
  const clerk = await hire(world, { login: 'clerk-one', name: 'Odile at the desk', role: 'desk', clinicId: 'harbour' })
  cookies.clinician = await cookieOf(world, clinician.id)
  cookies.clerk = await cookieOf(world, clerk.id)
})
afterAll(async () => {
  await served?.close()
  await world?.close()
})

const page = async (who: string, path: string) => {
  const answer = await fetch(served.base + path, { headers: cookies[who]!, redirect: 'manual' })
  return { status: answer.status, type: answer.headers.get('content-type') ?? '', body: await answer.text() }
}

describe('who sees what at the desk', () => {
  it('a clinician sees their own list without asking for it, and no links to what they may not open', async () => {
    const { body } = await page('clinician', `${DESK}/day-sheet?date=2026-03-12`)
    expect(body).toContain('Marit Quillon')
    expect(body).not.toContain('Tova Brandle')
    expect([...body.matchAll(/<li><a\s+href="\/desk\/harbour\/([\w-]+)"/g)].map(([, path]) => path)).toEqual([
      'day-sheet',
      'near-misses',
    ])
    expect(body).not.toMatch(/\/visits\/|\/book/)
    expect(body).not.toContain('class="count"')
  })

  it('what is closed to the patient answers with a page, not with a document for programs', async () => {
    const { status, type, body } = await page('clinician', `${DESK}/bookings`)
    expect(status).toBe(403)
    expect(type).toMatch(/html/)
    expect(body).not.toContain('Tova')
  })

  it("what a clerk does is on record under the patient's name", async () => {
    const [followUp] = await world.deps.store.read.followUps.list({ open: true, limit: 5 })
    const headers = { ...cookies.clerk, 'Sec-Fetch-Site': 'same-origin' }
    await fetch(`${served.base}${DESK}/calls/${followUp!.id}/close`, {
      method: 'POST',
      headers,
      body: new URLSearchParams({ outcome: 'not-needed' }),
      redirect: 'manual',
    })
    expect((await world.deps.store.read.followUps.get(followUp!.id))!.closedBy).toBe('Odile at the desk')
    expect((await page('clerk', `${DESK}/calls`)).body).toMatch(/No call needed, by Odile at the desk\./)
  })
})
