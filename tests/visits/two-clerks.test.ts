import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { DESK, openReception, pageText, postForm, type Reception } from '../desk/reception.ts'

// Own rule: of two who change one visit, the second is asked first. Invented people.
describe('two clerks who have the same visit open', () => {
  let desk: Reception
  let id: string
  const html = async () => (await fetch(`${desk.base}${DESK}/visits/${id}`)).text()
  const formOf = (page: string, deed: string) => new RegExp(`action="([^"]*/${deed}[^"]*)"`).exec(page)![1]!
  const timeOf = async () => (await desk.world.deps.store.read.bookings.get(id))!.visitAt.toISOString()

  beforeAll(async () => {
    desk = await openReception()
    id = desk.ids[6]!
  })
  afterAll(() => desk.close())

  it('are told of each other: the second changes nothing, sees both times and keeps what was typed', async () => {
    const seen = await html()
    const first = await postForm(desk.base, formOf(seen, 'move'), {
      other: '2026-03-24T11:00',
      despite: '2026-03-24T11:00',
      minutes: '10',
    })
    expect(first.status).toBe(303)
    const second = await postForm(desk.base, formOf(seen, 'move'), {
      other: '2026-03-25T12:30',
      despite: '2026-03-25T12:30',
      minutes: '10',
    })
    expect(second.status).toBe(409)
    const page = await second.text()
    expect(page).toMatch(/Somebody else has changed it meanwhile\. Nothing of yours was done\./)
    expect(page).toMatch(/moved[^<]*, by [^<]+, at Mon 9 Mar, 10:00/i)
    expect(page).toContain('The visit is on Tue 24 Mar, 11:00 now. You had asked for 2026-03-25 12:30.')
    expect(page).toContain('value="2026-03-25T12:30"')
    expect(await timeOf()).toBe('2026-03-24T14:00:00.000Z')
    // Having seen it, the second clerk may go on.
    expect(
      (await postForm(desk.base, formOf(page, 'move'), { other: '2026-03-25T12:30', despite: '2026-03-25T12:30' }))
        .status,
    ).toBe(303)
    expect(await timeOf()).toBe('2026-03-25T15:30:00.000Z')
  })

  it('nor does one cancel what the other has just changed', async () => {
    const seen = await html()
    expect((await postForm(desk.base, formOf(seen, 'purpose'), { purpose: 'symptoms', due: '' })).status).toBe(303)
    expect((await postForm(desk.base, formOf(seen, 'cancel'), {})).status).toBe(409)
    expect((await desk.world.deps.store.read.bookings.get(id))!.state).toBe('booked')
  })

  it('and what is refused is said on the page on which it was asked for', async () => {
    const taken = await postForm(desk.base, formOf(await html(), 'move'), { other: '2020-01-01T10:00' })
    expect(taken.status).toBe(422)
    const page = await taken.text()
    expect(page).toContain('This visit is in the past. Give a time to come.')
    expect(page).toContain('Corisande Brandle-Skerrow')
    expect(page).toContain('value="2020-01-01T10:00"')
    expect(await pageText(desk.base, `${DESK}/visits/${id}`)).toContain('Wed 25 Mar')
  })
})
