import { writeFileSync } from 'node:fs'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { bookAndRing } from '../../src/flows/visits/book-visit.ts'
import { noChromium, openBrowser, overflowOf, SHOTS, violationsIn } from './browser.ts'
import { DESK, openReception, type Reception } from './reception.ts'

/** As full as a day is: 18 visits, and whatever makes a line long. */
const VISITS = 18
const DAY = '2026-03-11'
/** Common practice, no source: smaller letters are not read at a bedside. */
const LEAST_POINTS = 7

describe.skipIf(noChromium)('the day sheet of a full day', () => {
  let desk: Reception
  let browser: Browser
  const sheet = `${DESK}/day-sheet?date=${DAY}&clinician=room+1`
  const cycles: CycleHistory[] = [
    { status: 'cycling', lmp: '2026-03-09', usualCycleDays: 28 },
    { status: 'unknown' },
    { status: 'no-periods' },
    { status: 'cycling', lmp: '2026-02-25', usualCycleDays: 28 },
  ]

  beforeAll(async () => {
    desk = await openReception()
    await desk.world.putClinic({ secondOnPaper: true })
    for (let index = 0; index < VISITS; index++)
      await bookAndRing(desk.world.deps, {
        ...{ clinic: 'harbour', protocol: 'liquid-based-cytology', by: 'desk' },
        visit: `${DAY}T${String(9 + Math.floor(index / 3)).padStart(2, '0')}:${['00', '20', '40'][index % 3]}`,
        clinician: 'room 1',
        patient: {
          name: `Corisande Wilhelmina Brandle-Skerrow ${index}`,
          phone: `782 555 01${50 + index}`,
          language: index % 5 === 0 ? 'fr' : 'en',
          channel: 'sms',
          detail: 'full',
          birthDate: `1984-09-${10 + index}`,
          ownNumber: `SK-48213-${index}`,
        },
        cycle: cycles[index % 4]!,
        consent: index % 3 === 0 ? null : { recordedBy: 'desk' },
        ...(index === 4 && { purpose: 'earlier-result' as const }),
      })
    browser = await openBrowser()
  })
  afterAll(async () => {
    await browser?.close()
    await desk?.close()
  })

  const open = async (width = 1440): Promise<Page> => {
    const page = await (await browser.newContext({ viewport: { width, height: 900 } })).newPage()
    await page.goto(desk.base + sheet)
    expect(await page.locator('.day-table tbody tr').count()).toBe(VISITS)
    return page
  }

  it('prints on one page with the whole checklist, on either paper, in letters that can be read', async () => {
    const page = await open()
    await page.emulateMedia({ media: 'print' })
    expect(await page.locator('.day-table .second').first().isVisible()).toBe(true)
    expect(await page.locator('.checklist li').last().isVisible()).toBe(true)
    // What to ask is a list within its row, and no frame of a form.
    const frame = await page.evaluate(`getComputedStyle(document.querySelector('.to-ask')).borderTopWidth`)
    expect(frame).toBe('0px')
    const size = await page.evaluate<number>(
      `parseFloat(getComputedStyle(document.querySelector('.day-table td b')).fontSize)`,
    )
    expect((size * 72) / 96).toBeGreaterThanOrEqual(LEAST_POINTS)
    for (const format of ['A4', 'Letter'] as const) {
      const pdf = await page.pdf({ format, preferCSSPageSize: false })
      writeFileSync(`${SHOTS}day-sheet-${format}.pdf`, pdf)
      expect(pdf.toString('latin1').match(/\/Type\s*\/Page[^s]/g), format).toHaveLength(1)
    }
    await page.context().close()
  })

  it('has a number for whoever must be called, and for nobody else', async () => {
    const page = await open()
    const rows = await page.locator('.day-table tbody tr').allTextContents()
    for (const row of rows) expect(/\+1 782 555/.test(row), row).toBe(/call/.test(row.split('Bleeding')[0]!))
    expect(rows.filter((row) => /\+1 782 555/.test(row)).length).toBeGreaterThan(3)
    // What is at risk stands out; short notice explains only.
    const act = await page.locator('.day-table .act').allTextContents()
    expect(act.some((words) => /Not told|Not reached/.test(words))).toBe(true)
    expect(act).toContain('Days to avoid')
    expect(act.filter((words) => /Short notice/.test(words))).toEqual([])
    expect(rows.filter((row) => /cycle day not known.*no periods/i.test(row))).toEqual([])
    await page.context().close()
  })

  it('is looked through on a telephone: no sideways scrolling, less than 200 pixels a visit', async () => {
    await desk.world.clock.moveTo(new Date(`${DAY}T13:00:00Z`))
    const page = await open(390)
    expect(await overflowOf(page)).toBe(0)
    const heights = await page.evaluate<number[]>(
      `[...document.querySelectorAll('.day-table tbody tr')].map((row) => Math.round(row.getBoundingClientRect().height))`,
    )
    await page.screenshot({ path: `${SHOTS}day-sheet-full-390.png`, fullPage: true })
    expect(Math.max(...heights)).toBeLessThan(200)
    expect(await violationsIn(page)).toEqual([])
    await page.context().close()
  })

  it('records how a visit ended by one press, why nothing was collected by two, and takes it back by one', async () => {
    const page = await open()
    const row = (index: number) => page.locator('.day-table tbody tr').nth(index)
    await row(0).locator('button[value=collected]').click()
    await page.waitForURL(/said=ended/)
    expect(await row(0).locator('.tick').textContent()).toMatch(/^\s*Collected\s*Undo/)
    await row(1).locator('button[value=absent]').click()
    await page.waitForURL(/said=ended/)
    await row(2).locator('summary').click()
    await row(2).locator('button[value="not-collected:bleeding"]').click()
    await page.waitForURL(/said=ended/)
    expect(await row(2).locator('.tick').textContent()).toMatch(/Not collected: bleeding/)
    await page.screenshot({ path: `${SHOTS}day-sheet-full-1440.png`, fullPage: true })
    expect(await violationsIn(page)).toEqual([])
    await row(2).locator('text=Undo').click()
    await page.waitForURL(/said=end-undone/)
    expect(await row(2).locator('button[value=collected]').count()).toBe(1)
    await page.context().close()
  })
})
