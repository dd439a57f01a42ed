import { readFileSync } from 'node:fs'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { readFeed } from '../../src/adapters/schedule/feed-file.ts'
import { takeBytes } from '../../src/adapters/schedule/take-bytes.ts'
import { complaintsOf, noChromium, openBrowser, overflowOf, SHOTS, violationsIn } from '../desk/browser.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

// The demo's week of an invented hospital, from a day within it on.
const known = { protocols: new Set(['liquid-based-cytology', 'clinician-hpv']), languages: new Set(['en', 'fr']) }
const demo = (name: string) => readFileSync(new URL(`../../demo/schedule/${name}`, import.meta.url))
const text = demo('skerry.yaml')
  .toString('utf8')
  .replace(/^languages:.*$/m, 'languages: { en: en, ENG: en }')
const FEED = readFeed(text, 'skerry.yaml', known)
const PAGE = '/desk/harbour/feeds'

describe.skipIf(noChromium)('the page of schedules that are kept elsewhere, in a real browser', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  let browser: Browser
  const open = async (javaScriptEnabled = true): Promise<Page> => {
    const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, javaScriptEnabled })
    const page = await context.newPage()
    await page.goto(api.base + PAGE)
    return page
  }
  const shoot = (page: Page, name: string) => page.screenshot({ path: `${SHOTS}${name}.png`, fullPage: true })

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-02T13:00:00Z', undefined, [], { feeds: [FEED] })
    await world.putClinic({}, 'ridge')
    await takeBytes(world.deps, FEED.name, { bytes: demo('week.hl7'), name: 'week.hl7' })
    await world.clock.moveTo(new Date('2026-03-03T13:20:00Z'))
    const moved = demo('week.csv')
      .toString('utf8')
      .replace('09:20,20,GYN1', '09:20,20,GYN9')
      .replace('2026-03-12,14:00', 'soon,14:00')
    await takeBytes(world.deps, FEED.name, { bytes: Buffer.from(moved), name: 'week.csv' })
    await world.clock.moveTo(new Date('2026-03-05T13:20:00Z'))
    api = await serveApi(world)
    browser = await openBrowser()
  })
  afterAll(async () => {
    await browser?.close()
    await api?.close()
    await world?.close()
  })

  it('passes axe at every width, with a file looked at and taken; breaks no policy', async () => {
    const page = await open()
    const complaints = complaintsOf(page)
    const found: string[] = []
    const look = async (name: string) => {
      for (const width of [320, 1280]) {
        await page.setViewportSize({ width, height: 900 })
        if ((await overflowOf(page)) > 0) found.push(`${name} at ${width}: wider than the window`)
        found.push(...(await violationsIn(page)).map((violation) => `${name} at ${width}: ${violation}`))
        expect(complaints).toEqual([])
        await shoot(page, `${name}-${width}`)
        complaints.length = 0
      }
    }
    await page.evaluate("document.querySelectorAll('main details').forEach((each) => (each.open = true))")
    await look('feeds')
    await page.setInputFiles('input[type=file]', { name: 'week.csv', mimeType: 'text/csv', buffer: demo('week.csv') })
    await page.click('text=Show what it would do')
    await page.waitForSelector('h1:has-text("What the file would do")')
    await look('feeds-shown')
    await page.click('text=Do it')
    await page.waitForSelector('h1:has-text("What the file did")')
    await look('feeds-done')
    expect(found).toEqual([])
    await page.context().close()
  })

  it('works without scripts: a code is explained, a file is looked at, taken, and its bad rows are had as a file', async () => {
    const other = Buffer.from(demo('week.csv').toString('utf8').replace('09:20,20,GYN1', '09:20,20,GYN8'))
    await takeBytes(world.deps, FEED.name, { bytes: other, name: 'week.csv' })
    const page = await open(false)
    const words = await page.textContent('main')
    expect(words).toContain('The place “GYN8” is')
    await page.selectOption('select[name=ours] >> nth=0', 'ridge')
    await page.click('text=Say so >> nth=0')
    expect(page.url()).toContain('said=feed-')
    expect(await page.textContent('main')).not.toContain('GYN8” is')
    await page.click('text=Read a file of this schedule')
    const bad = `${demo('week.csv').toString('utf8').split('\n')[0]}\nF9,never,10:00\n`
    await page.setInputFiles('input[type=file]', { name: 'x.csv', mimeType: 'text/csv', buffer: Buffer.from(bad) })
    await page.click('text=Show what it would do')
    await page.click('text=Do it')
    const [download] = await Promise.all([page.waitForEvent('download'), page.click('text=Take these rows away')])
    expect(download.suggestedFilename()).toBe('skerry.result.csv')
    await page.context().close()
  })
})
