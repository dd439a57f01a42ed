import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { complaintsOf, noChromium, openBrowser, overflowOf, SHOTS, violationsIn } from '../desk/browser.ts'
import { Carrier, openOffice, OWN_NUMBER, type Office } from './office.ts'

const WIDTHS = [390, 1440]
const PAGES = [
  '',
  '/clinics',
  '/clinics/harbour',
  '/clinics/new',
  '/gateways',
  '/people',
  '/keys',
  '/protocols',
  '/retention',
  '/replies',
  '/audit',
]

describe.skipIf(noChromium)('the settings in a real browser', () => {
  let office: Office
  let browser: Browser

  beforeAll(async () => {
    office = await openOffice([new Carrier()])
    browser = await openBrowser()
  })
  afterAll(async () => {
    await browser?.close()
    await office?.close()
  })

  const open = async (path: string, scripts = true): Promise<Page> => {
    const options = { viewport: { width: 1440, height: 900 }, javaScriptEnabled: scripts }
    const context = await browser.newContext(options)
    const [name, value] = office.administrator.Cookie!.split('=')
    await context.addCookies([{ name: name!, value: value!, url: office.served.base }])
    const page = await context.newPage()
    await page.goto(office.served.base + path)
    return page
  }

  it('pass axe on every page, stay within the window, and break no policy', async () => {
    const page = await open('/settings')
    const complaints = complaintsOf(page)
    const found: string[] = []
    for (const path of PAGES) {
      for (const width of WIDTHS) {
        await page.setViewportSize({ width, height: 900 })
        await page.goto(`${office.served.base}/settings${path}`)
        if ((await overflowOf(page)) > 0) found.push(`${path} at ${width}: wider than the window`)
        found.push(...(await violationsIn(page)).map((violation) => `${path} at ${width}: ${violation}`))
        expect(complaints, path).toEqual([])
        await page.screenshot({ path: `${SHOTS}settings${path.replaceAll('/', '-')}-${width}.png`, fullPage: true })
        // The driver hides the caret by a style of its own, which our policy refuses.
        complaints.length = 0
      }
    }
    expect(found).toEqual([])
    await page.context().close()
  })

  it('keep a clinic by keyboard alone, and lead to the field at fault', async () => {
    const page = await open('/settings/clinics/new')
    await page.focus('#name')
    await page.keyboard.type('Ridge Clinic')
    await page.keyboard.press('Tab')
    await page.keyboard.type('nobody knows')
    await page.keyboard.press('Enter')
    await page.waitForSelector('#phone-fault')
    expect(await page.evaluate('document.activeElement.id')).toBe('phone')
    expect(await page.inputValue('#name')).toBe('Ridge Clinic')
    expect(await violationsIn(page)).toEqual([])
    await page.fill('#phone', OWN_NUMBER)
    await page.keyboard.press('Enter')
    await page.waitForURL(/clinics\/ridge-clinic\?said=clinic-kept/)
    await page.context().close()
  })

  it('add somebody without scripts, and show the code in the answer, not in its address', async () => {
    const page = await open('/settings/people', false)
    await page.fill('#name', 'Tova Brandle')
    await page.fill('#login', 'tova')
    await page.selectOption('#clinic', 'harbour')
    await page.click('button.main')
    const code = await page.textContent('.secret')
    expect(code).toMatch(/^\S{10,}$/)
    expect(page.url()).not.toContain(code!)
    await page.screenshot({ path: `${SHOTS}settings-code-1440.png`, fullPage: true })
    await page.context().close()
  })
})
