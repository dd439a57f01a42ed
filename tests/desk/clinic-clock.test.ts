import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { clinicClock } from '../../src/adapters/http/desk/when.ts'
import { NOW, DESK, openReception, type Reception } from './reception.ts'

// A clinic reads times by 24 or by 12 hours; referee: Intl.DateTimeFormat of the machine. Invented people.
describe('the clock of a clinic', () => {
  const shown = (hour12: boolean, at: Date) =>
    new Intl.DateTimeFormat('en-US', { timeZone: 'America/Halifax', hour: 'numeric', minute: '2-digit', hour12 })
      .format(at)
      .replace('\u202f', ' ')
      .replace(/^(\d):/, hour12 ? '$1:' : '0$1:')
      .replace(/^24:/, '00:')

  it('says each minute of a day as the referee does', () => {
    const start = Date.UTC(2026, 2, 17, 4)
    for (let minutes = 0; minutes < 24 * 60; minutes += 7) {
      const at = new Date(start + minutes * 60_000)
      expect(clinicClock('12').clock(at, 'America/Halifax')).toBe(shown(true, at))
      expect(clinicClock('24').clock(at, 'America/Halifax')).toBe(shown(false, at))
    }
  })
})

describe('the pages of a clinic that reads 12 hours', () => {
  let reception: Reception
  beforeAll(async () => {
    reception = await openReception()
    await reception.world.passUntil(NOW)
    await reception.world.putClinic({ clock: '12' })
  })
  afterAll(() => reception.close())
  const words = async (path: string) =>
    (await (await fetch(`${reception.base}${DESK}/${path}`)).text()).replaceAll(/<[^>]*>/g, ' ')

  it.each(['bookings', 'calls', 'day-sheet', 'openings', 'replies', 'service'])('%s', async (page) => {
    const text = await words(page)
    expect(text).toMatch(/\b(1[0-2]|[1-9]):[0-5]\d [AP]M\b/)
    // What patients wrote, or were sent, is theirs.
    const ours = text.replaceAll(/\b\d{1,2}:\d\d\s?[apAP]\.?[mM]\.?/g, '')
    expect(ours.match(/\b([01]\d|2[0-3]):[0-5]\d\b/g) ?? []).toEqual([])
  })

  it('still takes times as they are typed', async () => {
    expect(await words('book?date=2026-03-20&time=14:00')).toContain('Book a visit')
  })
})
