import type { Browser } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { complaintsOf, noChromium, openBrowser, overflowOf, SHOTS, violationsIn } from './browser.ts'
import { DESK, openReception, type Reception } from './reception.ts'

// A week with an hour and a half when nothing ran. Own rules, no source; invented figures.
describe.skipIf(noChromium)('the service page in a browser', () => {
  let desk: Reception
  let browser: Browser

  beforeAll(async () => {
    desk = await openReception()
    browser = await openBrowser()
    await desk.world.composed.database.records.query(
      `insert into figure_sample select at,
         case when n between 900 and 930 then n - 900 else 0 end, case when n between 900 and 930 then (n - 900) * 40 else 0 end,
         round(60 + 55 * sin(n * 2 * pi() / 288))::integer, n % 4, (n / 300) % 3, case when n between 880 and 900 then 0 else 2 end,
         0.04 + (n % 7) * 0.01
       from (select n, '2026-03-02T13:05Z'::timestamptz + n * interval '5 minutes' as at from generate_series(0, 2014) n) m
       where n not between 1200 and 1217`,
    )
  })
  afterAll(async () => {
    await browser?.close()
    await desk?.close()
  })

  it.each([1440, 390])(
    'reads well %d pixels wide, says what to act on first, and shows gaps as gaps',
    async (width) => {
      const context = await browser.newContext({ viewport: { width, height: 900 }, timezoneId: 'Asia/Tokyo' })
      const page = await context.newPage()
      const complaints = complaintsOf(page)
      await page.goto(`${desk.base}${DESK}/service`)
      expect(await page.textContent('.standing tbody tr:first-child')).toMatch(
        /▲ Act.*Who sends.*No worker is heard.*Start/s,
      )
      expect(await page.locator('.plot svg').count()).toBe(7)
      const overdue = page.locator('.plot').first()
      expect(await overdue.locator('desc').textContent()).toBe(
        'Now: 0. Highest in the week: 30, first on Thu 5 Mar, 14:35. Nothing is known of 1.5 h of it.',
      )
      expect((await overdue.locator('path').getAttribute('d'))!.match(/M/g)).toHaveLength(2)
      expect(await violationsIn(page)).toEqual([])
      expect(await overflowOf(page)).toBe(0)
      expect(complaints).toEqual([])
      await page.screenshot({ path: `${SHOTS}service-${width}.png`, fullPage: true })
      await context.close()
    },
  )
})
