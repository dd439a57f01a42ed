import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { complaintsOf, noChromium, openBrowser, violationsIn } from './browser.ts'
import { DESK, openReception, type Reception } from './reception.ts'

// What happens to what is typed, and single keys. Own rules, but WCAG 2.2 where named; invented people.
describe.skipIf(noChromium)('somebody who types at the desk', () => {
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
  const open = async (path: string): Promise<Page> => {
    const page = await browser.newPage({ viewport: { width: 1440, height: 900 } })
    await page.goto(`${desk.base}${DESK}/${path}`)
    return page
  }

  it('loses nothing when the service does not answer, is told so, and sends it once it does', async () => {
    const page = await open('book')
    await page.route('**/health/live', (route) => route.abort())
    await page.fill('#name', 'Perpetua Tarn')
    await page.press('#name', 'Enter')
    await page.waitForSelector('#away:not([hidden])')
    expect(await page.textContent('#away')).toContain('Nothing was sent')
    expect(await page.inputValue('#name')).toBe('Perpetua Tarn')
    await page.unroute('**/health/live')
    await Promise.all([page.waitForNavigation(), page.press('#name', 'Enter')])
    expect(await page.inputValue('#name')).toBe('Perpetua Tarn')
    expect(await page.isHidden('#away')).toBe(true)
    await page.close()
  })

  it('finds, books and asks for the keys by one letter, not while typing', async () => {
    const page = await open('calls')
    const complaints = complaintsOf(page)
    await page.keyboard.press('/')
    await page.waitForURL('**/bookings#q')
    expect(await page.evaluate('document.activeElement.id')).toBe('q')
    await page.keyboard.type('b?')
    expect(await page.inputValue('#q')).toBe('b?')
    await page.focus('h1, main')
    await page.evaluate('document.activeElement.blur()')
    await page.keyboard.press('?')
    expect(await page.isVisible('#keys')).toBe(true)
    expect(await violationsIn(page)).toEqual([])
    await page.keyboard.press('Escape')
    await page.waitForSelector('#keys', { state: 'hidden' })
    await page.keyboard.press('b')
    await page.waitForURL('**/book')
    // What a page was asking for as it was left is no fault of it.
    expect(complaints.filter((each) => !each.endsWith('/watch'))).toEqual([])
    await page.close()
  })

  it('can turn the keys off (WCAG 2.2, 2.1.4)', async () => {
    const page = await open('calls')
    await page.click('[data-keys]')
    await page.uncheck('[data-use-keys]')
    await page.keyboard.press('Escape')
    await page.keyboard.press('b')
    await page.waitForTimeout(300)
    expect(page.url()).toContain('/calls')
    await page.close()
  })
})
