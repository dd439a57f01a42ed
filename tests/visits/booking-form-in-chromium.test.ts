import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { noChromium, openBrowser } from '../desk/browser.ts'
import { DESK, openReception, postForm, type Reception } from '../desk/reception.ts'

// LMP 2026-03-02, usual 28 days: the next period is due on 2026-03-30, so a visit on the 31st is badly timed. Invented
// people.
const LMP = '2026-03-02'
const BAD = '2026-03-31'

describe.skipIf(noChromium)('the booking form in a real browser', () => {
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

  const open = async (): Promise<Page> => {
    const page = await (await browser.newContext({ viewport: { width: 1440, height: 900 } })).newPage()
    await page.goto(`${desk.base}${DESK}/book`)
    return page
  }

  it('shows the verdict on what was typed last, however slow the answer to what was typed before', async () => {
    const page = await open()
    // The first answer is held back until the next field has changed, and comes before that change has been asked
    // about.
    let answer!: () => void
    const held = new Promise<void>((resolve) => (answer = resolve))
    let asked = 0
    await page.route('**/book/look', async (route) => {
      if (asked++ === 0) await held
      await route.continue()
    })
    await page.fill('#lmp', LMP)
    await page.fill('#date', BAD)
    await page.locator('#date').blur()
    await expect.poll(() => asked).toBeGreaterThan(0)
    const arrived = page.waitForResponse('**/book/look')
    await page.evaluate(
      `{ const time = document.getElementById('time'); time.value = '10:00'; time.dispatchEvent(new Event('change', { bubbles: true })) }`,
    )
    answer()
    await arrived
    await page.waitForSelector('.verdict.avoid', { timeout: 10_000 })
    await page.context().close()
  })

  it('does not book a badly timed visit before its verdict was shown', async () => {
    const page = await open()
    await page.route('**/book/look', (route) => route.abort())
    for (const [field, value] of Object.entries({
      phone: '782 555 0141',
      name: 'Nobody Fast',
      lmp: LMP,
      date: BAD,
      time: '11:20',
    }))
      await page.fill(`#${field}`, value)
    await page.press('#time', 'Enter')
    await page.waitForSelector('.faults')
    expect(await page.textContent('.verdict')).toMatch(/period/)
    expect(await page.inputValue('#name')).toBe('Nobody Fast')
    // Pressing again is not enough: it has to be meant, and why.
    await page.click('.f-book button.main')
    await page.waitForSelector('.faults')
    await page.check('#despite')
    await page.click('.f-book button.main')
    await page.waitForSelector('#time-fault')
    expect(await page.textContent('#time-fault')).toMatch(/Choose why/)
    await page.selectOption('#why', 'wish')
    await page.click('.f-book button.main')
    await page.waitForURL(/said=booked/)
    await page.context().close()
  })

  it('asks the same without scripts', async () => {
    const form = {
      phone: '782 555 0142',
      name: 'Nobody Plain',
      lmp: LMP,
      sure: '0',
      usual: '28',
      date: BAD,
      time: '12:20',
      protocol: 'liquid-based-cytology',
      language: 'en',
      channel: 'sms',
      detail: 'full',
    }
    const first = await postForm(desk.base, `${DESK}/book`, form)
    expect(first.status).toBe(422)
    const despite = /name="despite" value="([^"]+)"/.exec(await first.text())![1]!.replaceAll('&#39;', "'")
    const meant = { ...form, despite, why: 'clinician' }
    // What was meant of one date is not of another.
    expect((await postForm(desk.base, `${DESK}/book`, { ...meant, usual: '29' })).status).toBe(422)
    expect((await postForm(desk.base, `${DESK}/book`, meant)).status).toBe(303)
  })

  it('is empty on the way back after booking', async () => {
    const page = await open()
    for (const [field, value] of Object.entries({
      phone: '782 555 0143',
      name: 'Nobody Before',
      lmp: '2026-03-01',
      date: '2026-03-17',
      time: '13:20',
    }))
      await page.fill(`#${field}`, value)
    await page.check('#consent')
    await page.click('.f-book button.main')
    await page.waitForURL(/said=booked/)
    await page.goBack()
    await page.waitForSelector('#booking')
    await page.waitForLoadState('load')
    for (const field of ['phone', 'name', 'lmp', 'date', 'time', 'usual', 'clinician'])
      expect(await page.inputValue(`#${field}`), field).toBe('')
    expect(await page.isChecked('#consent')).toBe(false)
    await page.context().close()
  })
})
