import { existsSync, mkdirSync } from 'node:fs'
import axe, { type Result } from 'axe-core'
import { chromium, type Browser, type Page } from 'playwright-core'

const CHROMIUM = process.env.CHROMIUM_PATH ?? '/usr/bin/chromium'
const FLAGS = [
  '--headless',
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
]
const WCAG = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']

/** Where the pictures of each run are kept, for people to look at. */
export const SHOTS = new URL('../../.shots/desk/', import.meta.url).pathname

/** Without Chromium these tests are left out on a desk, never in continuous integration. */
export const noChromium = !existsSync(CHROMIUM) && !process.env.CI

export function openBrowser(): Promise<Browser> {
  mkdirSync(SHOTS, { recursive: true })
  return chromium.launch({ executablePath: CHROMIUM, args: FLAGS })
}

/** What axe finds, in words; it is put into the page by the debugger, past the page's own policy. */
export async function violationsIn(page: Page): Promise<string[]> {
  await page.evaluate(axe.source)
  const found = await page.evaluate<Result[]>(
    `axe.run({ runOnly: ${JSON.stringify(WCAG)} }).then(({ violations }) => violations)`,
  )
  return found.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 120)).join(' | ')}`)
}

/** Collects what the browser complains of: policy violations, errors, failed loads. */
export function complaintsOf(page: Page): string[] {
  const complaints: string[] = []
  page.on('console', (message) => message.type() === 'error' && complaints.push(message.text()))
  page.on('pageerror', (error) => complaints.push(error.message))
  page.on('requestfailed', (request) => !request.url().endsWith('/desk/events') && complaints.push(request.url()))
  return complaints
}

/** How far the page reaches beyond the window, in pixels. */
export function overflowOf(page: Page): Promise<number> {
  return page.evaluate<number>('document.documentElement.scrollWidth - window.innerWidth')
}
