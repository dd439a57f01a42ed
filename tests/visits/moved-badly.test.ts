import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { DESK, NOW, openReception, postForm, type Reception } from '../desk/reception.ts'

// A desk that moves a visit to a bad time is told so first, as when it books. Own rule, no source; invented people.
describe('a visit moved by the desk to a time of its own', () => {
  let desk: Reception
  let id: string
  beforeAll(async () => {
    desk = await openReception()
    await desk.world.passUntil(NOW)
    const { booking } = await desk.world.book({
      ...{ visit: '2026-03-24T11:00', phone: '782 555 0166', name: 'Orla Fennick' },
      cycle: { status: 'cycling', lmp: '2026-03-09', usualCycleDays: 28, regularity: 'regular' },
    })
    id = booking.id
  })
  afterAll(() => desk.close())
  const move = (form: Record<string, string>) =>
    postForm(desk.base, `${DESK}/visits/${id}/move`, { minutes: '10', ...form })
  const visitAt = async () => (await desk.world.deps.store.read.bookings.get(id))!.visitAt.toISOString()

  it('stays where it is when that time is badly timed, and what was typed is kept', async () => {
    const refused = await move({ other: '2026-04-07T11:00' })
    expect(refused.status).toBe(422)
    const page = await refused.text()
    expect(page).toMatch(/badly timed: \d+ in 100 for a day to avoid/)
    expect(page).toContain('Move it to that time all the same')
    expect(page).toContain('value="2026-04-07T11:00"')
    expect(await visitAt()).toBe('2026-03-24T14:00:00.000Z')
  })

  it('is moved all the same once that is said of this very time', async () => {
    expect((await move({ other: '2026-04-08T11:00', despite: '2026-04-07T11:00' })).status).toBe(422)
    expect((await move({ other: '2026-04-07T11:00', despite: '2026-04-07T11:00' })).status).toBe(303)
    expect(await visitAt()).toBe('2026-04-07T14:00:00.000Z')
  })

  it('is moved at once to a good one', async () => {
    expect((await move({ other: '2026-03-25T11:00' })).status).toBe(303)
  })
})
