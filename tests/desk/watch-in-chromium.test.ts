import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { complaintsOf, noChromium, openBrowser, overflowOf, SHOTS, violationsIn } from './browser.ts'
import { DESK, openReception, type Reception } from './reception.ts'

// What every page of the desk says by itself, whatever somebody does on it. Own rules, no source; invented people.
describe.skipIf(noChromium)('a page of the desk that stays open', () => {
  let desk: Reception
  let browser: Browser

  beforeAll(async () => {
    desk = await openReception()
    browser = await openBrowser()
  })
  afterAll(async () => {
    await browser?.close()
    await desk?.close()
  })

  /** In another zone than the clinic's; counts the tones that it plays. */
  const open = async (path: string, width = 1440): Promise<Page> => {
    const context = await browser.newContext({ viewport: { width, height: 900 }, timezoneId: 'Asia/Tokyo' })
    await context.addInitScript(
      'window.tones = 0; const { start } = OscillatorNode.prototype;' +
        'OscillatorNode.prototype.start = function (...given) { window.tones++; return start.apply(this, given) }',
    )
    const page = await context.newPage()
    await page.goto(`${desk.base}${DESK}/${path}`)
    return page
  }
  const shown = (page: Page) => page.textContent('#call-count')
  const count = async (page: Page) => Number(/\d+/.exec((await shown(page)) ?? '')?.[0] ?? 0)
  const alarmFrom = (number: string) => desk.world.reply(number, 'I am bleeding heavily and fainting')

  it('counts calls in its frame and its title, and says that there is an alarm, while somebody books', async () => {
    const page = await open('book')
    const complaints = complaintsOf(page)
    const before = await count(page)
    expect(await page.title()).toMatch(new RegExp(`^\\(${before}\\) Book a visit, `))
    await page.fill('#name', 'half a na')
    await desk.world.reply('+17825550111', 'is it ok if my sister parks behind the bakery')
    await alarmFrom('+17825550114')
    await expect.poll(() => page.textContent('#alarms'), { timeout: 10_000 }).toMatch(/▲ 1 alarm:\s+call now/)
    expect(await count(page)).toBe(before + 2)
    expect(await page.title()).toMatch(new RegExp(`^\\(${before + 2}\\) Book a visit, `))
    expect(await page.inputValue('#name')).toBe('half a na')
    expect(await page.evaluate('document.activeElement.id')).toBe('name')
    // No sound but for somebody who chose it.
    expect(await page.evaluate('window.tones')).toBe(0)
    expect(complaints).toEqual([])
    await page.screenshot({ path: `${SHOTS}alarm-1440.png` })
    expect(await violationsIn(page)).toEqual([])
    await page.setViewportSize({ width: 390, height: 900 })
    expect(await overflowOf(page)).toBe(0)
    await page.screenshot({ path: `${SHOTS}alarm-390.png` })
    await page.context().close()
  })

  it('sounds at a new alarm once somebody at this browser chose it, and remembers that there', async () => {
    const page = await open('calls')
    expect(await page.isChecked('[data-sound]')).toBe(false)
    await page.check('[data-sound]')
    expect(await page.evaluate('window.tones')).toBe(1)
    await page.goto(`${desk.base}${DESK}/bookings`)
    await alarmFrom('+17825550115')
    await expect.poll(() => page.textContent('#alarms'), { timeout: 10_000 }).toMatch(/2 alarms/)
    expect(await page.evaluate('window.tones')).toBe(1)
    await page.goto(`${desk.base}${DESK}/calls`)
    expect(await page.isChecked('[data-sound]')).toBe(true)
    await page.context().close()
  })

  it('keeps what was just done to be read, and says beside it when it was brought up to date, by the clinic', async () => {
    const page = await open(`visits/${desk.ids[7]}?said=amended`)
    const said = await page.textContent('#said')
    desk.world.deps.notice('amended', { booking: desk.ids[7]! })
    await expect
      .poll(() => page.textContent('#fresh'), { timeout: 10_000 })
      .toMatch(/^Brought up to date at 10:\d\d\.$/)
    expect(await page.textContent('#said')).toBe(said)
    expect(said).toMatch(/The changes are kept/)
    await page.reload()
    await expect.poll(() => page.textContent('#said')).toBe('')
    await page.context().close()
  })

  it('is told by one connection, however many are open', async () => {
    const context = await browser.newContext()
    const pages = await Promise.all(['book', 'bookings', 'calls'].map(() => context.newPage()))
    const before = desk.world.composed.news.listening
    for (const [index, path] of ['book', 'bookings', 'calls'].entries())
      await pages[index]!.goto(`${desk.base}${DESK}/${path}`)
    await expect.poll(() => desk.world.composed.news.listening).toBe(before + 1)
    await alarmFrom('+17825550116')
    for (const page of pages)
      await expect.poll(() => page.textContent('#alarms'), { timeout: 10_000 }).toMatch(/3 alarms/)
    await context.close()
  })
})
