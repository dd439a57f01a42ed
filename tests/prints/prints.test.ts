import { execFileSync } from 'node:child_process'
import { mkdtempSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Browser } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeApiKey } from '../../src/adapters/sign-in/api-keys.ts'
import { writePrints } from '../../src/adapters/worker/write-prints.ts'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import type { Permission } from '../../src/domain/access/roles.ts'
import { BY, accessDeps, bearer, serveClosed } from '../access/signed-in.ts'
import { noChromium, openBrowser, overflowOf, SHOTS, violationsIn } from '../desk/browser.ts'
import { DESK, openReception, type Reception } from '../desk/reception.ts'

const ELSEWHERE = 'Perpetua Ridgeway'
const folderOf = () => mkdtempSync(join(tmpdir(), 'daysix-prints-'))

let desk: Reception
beforeAll(async () => {
  desk = await openReception()
  await desk.world.putClinic({ secondOnPaper: true })
  await desk.world.putClinic({}, 'ridge')
  // Another clinic, the same day, with something open and something to be told.
  for (const [index, consent] of [{ recordedBy: 'desk' as const }, null].entries())
    await desk.world.book({
      ...{ clinic: 'ridge', name: `${ELSEWHERE} ${index}`, phone: `782 555 018${index}` },
      ...{ visit: `2026-03-10T1${index}:00`, consent },
    })
  // A visit in three days, whose preparation falls due tomorrow; and a private page that nobody else may open.
  await desk.world.book({
    ...{ name: 'Zenobia Farrow', phone: '782 555 0142', visit: '2026-03-12T11:00' },
    patient: {
      ...{ name: 'Zenobia Farrow', phone: '782 555 0142', language: 'en', channel: 'sms', detail: 'discreet' },
      birthDate: '1984-09-17',
    },
  } as Parameters<typeof desk.world.book>[0])
  await desk.world.reply('+17825550112', 'I feel faint and I am bleeding very heavily')
})
afterAll(() => desk?.close())

describe.skipIf(noChromium)('the paper for a day, as its PDF reads', () => {
  let browser: Browser
  let pages: string[]
  let text: string

  beforeAll(async () => {
    browser = await openBrowser()
    const look = await (await browser.newContext({ viewport: { width: 390, height: 900 } })).newPage()
    await look.goto(`${desk.base}${DESK}/prints/paper`)
    expect(await violationsIn(look)).toEqual([])
    expect(await overflowOf(look)).toBe(0)
    const plain = { viewport: { width: 1200, height: 900 }, javaScriptEnabled: false }
    const page = await (await browser.newContext(plain)).newPage()
    await page.goto(`${desk.base}${DESK}/prints`)
    await page.click('text=Show the paper')
    await page.screenshot({ path: `${SHOTS}prints.png`, fullPage: true })
    const file = `${SHOTS}prints.pdf`
    writeFileSync(file, await page.pdf({ format: 'A4', preferCSSPageSize: false }))
    // Poppler reads it, which knows nothing of us.
    const read = execFileSync('pdftotext', ['-raw', file, '-'], { encoding: 'utf8' })
    pages = read.split('\f').filter((each) => each.trim() !== '')
    text = read.replaceAll(/\s+/g, ' ')
  })
  afterAll(() => browser?.close())

  it('says on every page whose it is, of when, by whom, that it must be destroyed, and which page of how many', () => {
    expect(pages.length).toBeGreaterThan(5)
    for (const [index, each] of pages.entries()) {
      const words = each.replaceAll(/\s+/g, ' ')
      expect(words).toContain(`Page ${index + 1} of ${pages.length}`)
      expect(words, words.slice(0, 200)).toMatch(
        /Harbour Clinic · .*printed Mon 9 Mar, \d\d:\d\d \(America\/Halifax\) by \S+/,
      )
      expect(words).toContain('holds data about patients: destroy when typed in')
    }
  })

  it('has every visit that is left today and tomorrow, and how it is with each', () => {
    expect(text).toMatch(/Rest of today, Monday 9 March 2026/)
    expect(text).toMatch(/Tomorrow, Tuesday 10 March 2026/)
    for (const name of ['Marit Quillon', 'Tova Brandle', 'Isaura Skerrow']) expect(text).toContain(name)
    expect(text).toContain('Days to avoid')
    expect(text).toMatch(/Ask everyone/)
  })

  it('has every open call with number, reason and words to say', async () => {
    const open = await desk.world.deps.store.read.followUps.list({ clinicId: 'harbour', open: true, limit: 100 })
    expect(open.map(({ reason }) => reason)).toEqual(expect.arrayContaining(['alarm', 'no-consent']))
    for (const { reason } of open) expect(text).toContain(FOLLOW_UP_REASONS[reason].title)
    expect(text).toContain('+1 782 555 0112')
    expect(text).toContain('bleeding very heavily')
    expect(text.indexOf('bleeding very heavily')).toBeLessThan(text.indexOf('Brenna Tarnley'))
  })

  it('has every message that falls due by the end of tomorrow, with words that may be said, and what was sent', async () => {
    const { bookings, messages } = desk.world.deps.store.read
    const visits = await bookings.list({ clinicId: 'harbour', state: 'booked', limit: 100 })
    const due = (await messages.ofBookings(visits.map(({ id }) => id))).filter(
      ({ state, sendAt }) => (state === 'planned' || state === 'queued') && sendAt < new Date('2026-03-11T03:00:00Z'),
    )
    expect(due.length).toBeGreaterThan(1)
    const told = text.slice(text.indexOf('Still to be sent'), text.indexOf('Sent already'))
    const names = await desk.world.deps.store.read.patients.many(due.map(({ patientId }) => patientId!))
    expect(names.map(({ name }) => name)).toContain('Zenobia Farrow')
    for (const { name } of names) expect(told).toContain(name)
    expect(text.slice(text.indexOf('Sent already'))).toMatch(/Tova Brandle.*delivered|Isaura Skerrow.*delivered/)
    // The address of a private page opens it for whoever finds the paper.
    expect(text).not.toMatch(/\/v\/[0-9a-z]/)
  })

  it('has free times, forms to write on, and how to type them in', () => {
    for (const words of ['Free times', 'Bookings taken on paper', 'Replies and calls', 'Typing it in afterwards'])
      expect(text).toContain(words)
  })

  it('shows birth dates as the clinic has it on paper, and nobody of another clinic', () => {
    expect(text).toContain('born 17 Sep 1984')
    expect(text).not.toContain('Perpetua')
  })
})

describe('a key', () => {
  it('that opens the call list alone does not open the paper, which shows more', async () => {
    const served = await serveClosed(desk.world)
    const keyFor = async (...may: Permission[]) => {
      const asked = { name: may.join(' '), may, clinicId: 'harbour', expiresAt: null }
      return bearer((await makeApiKey(accessDeps(desk.world), asked, BY)).secret)
    }
    const all = await keyFor('calls:read', 'visits:read', 'day-sheet:read')
    for (const path of ['paper', 'file']) {
      const part = await served.ask(`${DESK}/prints/${path}`, { headers: await keyFor('calls:read') })
      expect(part.status).toBe(403)
      expect(part.text).not.toContain('Isaura')
      expect((await served.ask(`${DESK}/prints/${path}`, { headers: all })).text).toContain('Isaura')
    }
    await served.close()
  })
})

describe('the paper as a file', () => {
  it('stands alone, without scripts, and is given away as a file that shows the same', async () => {
    const response = await fetch(`${desk.base}${DESK}/prints/file`)
    expect(response.headers.get('content-disposition')).toMatch(/attachment; filename=paper-harbour-2026-03-09T/)
    const body = await response.text()
    expect(body).toContain('Tova Brandle')
    expect(body).not.toMatch(/<script|src=|href="\/|Perpetua/)
    expect(body).toContain('counter(pages)')
  })

  it('leaves out second identifiers, and does not only hide them, where the clinic does not print them', async () => {
    await desk.world.putClinic({ secondOnPaper: false })
    expect(await (await fetch(`${desk.base}${DESK}/prints/file`)).text()).not.toContain('1984')
    await desk.world.putClinic({ secondOnPaper: true })
  })

  it('is written by itself, once an hour for each clinic, for its own account, the newest two kept', async () => {
    const folder = join(folderOf(), 'paper')
    const names = (clinic: string) => readdirSync(folder).filter((name) => name.startsWith(`${clinic}.`))
    const { world } = desk
    const before = world.clock.now().getTime()
    await writePrints(world.deps, folder)
    await writePrints(world.deps, folder)
    expect([names('harbour').length, names('ridge').length]).toEqual([1, 1])
    for (const hours of [1, 2, 3]) {
      await world.clock.moveTo(new Date(before + hours * 3_600_000))
      await writePrints(world.deps, folder)
    }
    expect(names('harbour')).toHaveLength(2)
    const newest = world.clock.now().toISOString().slice(0, 13)
    expect(names('harbour').sort().at(-1)).toContain(newest)
    // Nothing half-written is left, and nobody else may read them.
    expect(readdirSync(folder)).toHaveLength(4)
    for (const name of readdirSync(folder)) expect(statSync(join(folder, name)).mode & 0o777).toBe(0o600)
    expect(statSync(folder).mode & 0o777).toBe(0o700)
    const [own, other] = ['harbour', 'ridge'].map((id) => readFileSync(join(folder, names(id)[0]!), 'utf8'))
    expect(own).toContain('Isaura Skerrow')
    expect(own).not.toContain('Perpetua')
    expect(other).toContain('Perpetua')
    expect(other).not.toContain('Isaura')
  })
})
