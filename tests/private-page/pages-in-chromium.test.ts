import { existsSync, readFileSync } from 'node:fs'
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import axe, { type Result } from 'axe-core'
import { chromium, type Browser, type Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { renderContactSheet } from '../../src/adapters/http/messages/contact-sheet.ts'
import { readPageAnswer } from '../../src/adapters/http/private-page/patient-answers.ts'
import { renderClosedPage, renderPatientPage } from '../../src/adapters/http/private-page/patient-page.ts'
import type { PatientPage } from '../../src/adapters/http/private-page/page-data.ts'
import { STYLE_SHEET } from '../../src/adapters/http/pages/style-sheet.ts'
import { answersByLanguage, EXAMPLE_SITE } from '../../src/cli/example-site.ts'
import type { PageAnswer } from '../../src/flows/replies/hear-on-page.ts'
import { surveyTexts } from '../../src/domain/messages/texts/survey.ts'
import { examplePage, LANGUAGES, library, protocols, wording } from '../private-page/example-page.ts'

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
// The strictest policy that the pages are made for: nothing but our own style sheet, forms to ourselves.
const POLICY = "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
const WCAG = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']

const choices = ['2026-03-26T13:00:00Z', '2026-03-27T18:20:00Z', '2026-03-30T12:00:00Z'].map((at, index) => ({
  slotId: `o_${index}`,
  at: new Date(at),
}))
const STATES: Record<string, Partial<PatientPage>> = {
  plain: {},
  'asked for the last period': { ask: 'last-period', now: new Date('2026-03-19T12:00:00Z') },
  'answered, with openings': { said: 'Thank you. Your visit stays.', choices },
  'a date missing': { problem: 'date' },
}

/** axe is put into the page as it is: what runs there cannot see this file. */
async function violationsOf(page: Page): Promise<Result[]> {
  await page.evaluate(axe.source)
  return page.evaluate<Result[]>(`axe.run({ runOnly: ${JSON.stringify(WCAG)} }).then(({ violations }) => violations)`)
}

/** A small server of its own, so that the pages meet a real browser with a real policy. */
const pages = new Map<string, string>()
const heard: (PageAnswer | 'problem')[] = []
let server: Server
let browser: Browser
let base: string

function serve(): Server {
  return createServer((request, response) => void serveOne(request, response))
}

async function serveOne(request: IncomingMessage, response: ServerResponse): Promise<void> {
  const url = new URL(request.url!, 'http://localhost')
  response.setHeader('Content-Security-Policy', POLICY)
  if (url.pathname === '/assets/daysix.css')
    return void response.setHeader('Content-Type', 'text/css').end(readFileSync(STYLE_SHEET))
  if (request.method === 'POST') {
    const chunks: Buffer[] = []
    for await (const chunk of request) chunks.push(chunk as Buffer)
    const read = readPageAnswer(Object.fromEntries(new URLSearchParams(Buffer.concat(chunks).toString())), '2026-03-10')
    heard.push(read)
    response.setHeader('Content-Type', 'text/html')
    return void response.end(
      renderPatientPage(examplePage('en', read === 'problem' ? { problem: 'date' } : { said: '' })),
    )
  }
  const page = pages.get(url.pathname)
  response
    .setHeader('Content-Type', 'text/html; charset=utf-8')
    .writeHead(page ? 200 : 404)
    .end(page ?? '')
}

describe.skipIf(!existsSync(CHROMIUM) && !process.env.CI)('in a real browser', () => {
  beforeAll(async () => {
    for (const code of LANGUAGES) {
      for (const [state, more] of Object.entries(STATES))
        pages.set(`/${code}/${state.replaceAll(' ', '-')}`, renderPatientPage(examplePage(code, more)))
      pages.set(`/${code}/closed`, renderClosedPage(examplePage(code)))
    }
    const rows = surveyTexts(library, { ...EXAMPLE_SITE, answers: answersByLanguage(protocols.values()) })
    for (const code of ['en', 'pa']) {
      const language = library.languages.get(code)!
      pages.set(`/${code}/sheet`, renderContactSheet({ language, rows, wording, emergency: null, path: '/sheet' }))
    }
    pages.set(examplePage('en').path, renderPatientPage(examplePage('en', { choices })))
    server = serve().listen(0, '127.0.0.1')
    await new Promise((ready) => server.once('listening', ready))
    base = `http://127.0.0.1:${(server.address() as AddressInfo).port}`
    browser = await chromium.launch({ executablePath: CHROMIUM, args: FLAGS })
  })

  afterAll(async () => {
    await browser?.close()
    server?.close()
  })

  test.each([320, 1440])(
    'no page breaks WCAG 2.2 AA by axe, and none scrolls sideways, at %i pixels',
    async (width) => {
      // axe itself has to get past the policy; the pages do not.
      const context = await browser.newContext({ viewport: { width, height: 900 }, bypassCSP: true })
      const page = await context.newPage()
      // Every page on the narrow screen, where things break first; one language and the sheets on the wide one.
      const paths = [...pages.keys()].filter(
        (path) => !path.startsWith('/v/') && (width === 320 || path.startsWith('/en/') || path.endsWith('/sheet')),
      )
      for (const path of paths) {
        await page.goto(base + path)
        const found = (await violationsOf(page)).map(
          ({ id, nodes }) => `${path}: ${id}: ${nodes.map(({ target }) => target.join(' ')).join(', ')}`,
        )
        expect(found).toEqual([])
        const overflow = await page.evaluate(
          'document.documentElement.scrollWidth - document.documentElement.clientWidth',
        )
        expect(overflow, path).toBe(0)
      }
      await context.close()
    },
    120_000,
  )

  test('axe would have found what it is here for', async () => {
    const context = await browser.newContext({ bypassCSP: true })
    const page = await context.newPage()
    await page.setContent(
      renderPatientPage(examplePage('en')).replace(' lang="en-CA"', '').replace('daysix.css', 'none.css'),
    )
    expect((await violationsOf(page)).map(({ id }) => id)).toEqual(
      expect.arrayContaining(['html-has-lang', 'target-size']),
    )
    await context.close()
  })

  test('without JavaScript and under a strict policy, every form reaches the same flow as a text would', async () => {
    const context = await browser.newContext({ javaScriptEnabled: false, viewport: { width: 320, height: 900 } })
    const page = await context.newPage()
    const complaints: string[] = []
    page.on('console', (message) => complaints.push(message.text()))
    const answer = async (press: () => Promise<void>): Promise<PageAnswer | 'problem'> => {
      await page.goto(base + examplePage('en').path)
      await Promise.all([page.waitForResponse((response) => response.request().method() === 'POST'), press()])
      return heard.at(-1)!
    }
    const press = (name: string) => (): Promise<void> => page.getByRole('button', { name }).click()
    const dated = async (): Promise<void> => {
      await page.getByLabel('First day of your period').fill('2026-03-08')
      await press('Send this date')()
    }
    expect(await answer(dated)).toEqual({
      reading: { meaning: 'period-started', startedOn: '2026-03-08', confidence: 1, words: [] },
    })
    expect(await page.getByRole('status').innerText()).toContain('We have your answer.')
    expect(await answer(press('Not yet'))).toMatchObject({ reading: { meaning: 'not-started' } })
    expect(await answer(press('I need another time'))).toMatchObject({ reading: { meaning: 'cannot-come' } })
    expect(await answer(press('Tell the clinic'))).toMatchObject({ reading: { meaning: 'prep-lapse' } })
    expect(await answer(press('Take Friday, March 27'))).toMatchObject({
      reading: { meaning: 'choice' },
      slotId: 'o_1',
    })
    expect(complaints).toEqual([])
    await context.close()
  })
})
