import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { serveApi } from '../harness/api.ts'
import { approveOnly } from '../harness/approvals.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'
import { DESK, NOW, pageText, postForm } from './reception.ts'

let world: TestWorld
let api: Awaited<ReturnType<typeof serveApi>>

/** A site as in production, where drafts are not sent. */
beforeAll(async () => {
  world = await TestWorld.create(NOW, undefined, [], { settings: { DRAFT_TEXTS: 'refuse' }, approved: [] })
  api = await serveApi(world)
})
afterAll(async () => {
  await api.close()
  await world.close()
})
const open = (...approved: string[]) => approveOnly(world.composed, ...approved)

const BAND = 'Nothing goes out until the texts of a language are approved.'
const PAGES = [
  'bookings',
  'book',
  'calls',
  'replies',
  'openings',
  'feeds',
  'day-sheet',
  'prints',
  'near-misses',
  'texts',
  'service',
]
const text = (path: string) => pageText(api.base, `${DESK}/${path}`)
const health = async () => (await fetch(`${api.base}/health/ready`)).json()
const approve = (fields: Record<string, string>) =>
  postForm(api.base, `${DESK}/texts`, { by: 'Lead nurse', kind: '', read: 'yes', ...fields })
const languagesIn = async (path: string) => {
  const page = await (await fetch(`${api.base}${DESK}/${path}`)).text()
  const [, options] = /<select id="language"[^>]*>(.*?)<\/select>/s.exec(page)!
  return [...options!.matchAll(/value="(\w+)"/g)].map(([, code]) => code)
}

it('the texts page and its sheet say which number for emergencies the texts name, as soon as it is set', async () => {
  expect(await text('texts')).toContain('“your local emergency number”, since this clinic has set none')
  expect(await text('texts/sheet')).toContain('call your local emergency number now.')
  await world.putClinic({ emergency: '112' })
  expect(await text('texts')).toContain('In an emergency the texts say to call 112.')
  const sheet = await text('texts/sheet')
  expect(sheet).toContain('call 112 now.')
  expect(sheet).not.toContain('your local emergency number')
  await world.putClinic({}, 'river')
  expect(await pageText(api.base, '/desk')).toMatch(/emergencies 112.*no emergency number set/)
  await world.putClinic()
})

describe('while nothing is approved', () => {
  it('every page of the desk says that nothing goes out, and so does health, which is ready all the same', async () => {
    await open()
    for (const page of PAGES) expect(await text(page), page).toContain(BAND)
    expect(await health()).toEqual({ ready: true, database: true, sends: false })
  })

  it('an administrator approves a language on the texts page, and from then on it is sent', async () => {
    await open()
    expect(await text('texts')).toMatch(/English \d+ \d+ No /)
    const answer = await approve({ language: 'en' })
    expect(answer.headers.get('location')).toBe(`${DESK}/texts?said=texts-approved`)
    expect(await text('texts')).toMatch(/English \d+ None Yes .*Français \d+ \d+ No /)
    for (const page of PAGES) expect(await text(page), page).not.toContain(BAND)
    expect(await health()).toEqual({ ready: true, database: true })
    await world.book({ visit: '2026-03-25T10:30' })
    await world.passUntil('2026-03-09T14:00:00Z')
    expect(world.textsTo('+17825550101')).toHaveLength(1)
  })

  it('an approval of one kind is not yet one of the language', async () => {
    await open()
    await approve({ language: 'en', kind: 'prep' })
    expect(await text('texts')).toMatch(/English \d+ \d+ No /)
    expect(await text('bookings')).toContain(BAND)
  })

  it('what there is not is refused beside the form', async () => {
    await open()
    const answer = await approve({ language: 'en', kind: 'sauna' })
    expect(answer.status).toBe(422)
    expect(await answer.text()).toContain('There is no text of this kind.')
  })
})

describe('the language of a booking', () => {
  it('is chosen on the form from those that may be sent', async () => {
    await open('en', 'uk')
    expect(await languagesIn('book')).toEqual(['en', 'uk'])
    await open('en', 'fr', 'uk')
    expect(await languagesIn('book')).toEqual(['en', 'fr', 'uk'])
  })

  it('is refused by the form and by the API where it may not be sent; the API lists those that may', async () => {
    await open('en')
    const form = {
      phone: '782 555 0102',
      name: 'Bea Fenwick',
      lmp: '2026-03-02',
      sure: '0',
      usual: '28',
      date: '2026-03-24',
      time: '10:30',
      protocol: 'liquid-based-cytology',
      language: 'fr',
      channel: 'sms',
      detail: 'full',
      consent: 'yes',
      key: 'key-of-this-form',
    }
    const answer = await postForm(api.base, `${DESK}/book`, form)
    expect(answer.status).toBe(409)
    expect(await answer.text()).toMatch(/<select id="language"[^>]*aria-invalid="true"/)
    const request = {
      clinic: CLINIC.id,
      visit: '2026-03-24T10:30',
      cycle: { lmp: '2026-03-02' },
      consent: { recordedBy: 'desk' },
      patient: { name: 'Bea Fenwick', phone: '782 555 0102', language: 'fr' },
    }
    const refused = await api.post('/api/v1/bookings', request)
    expect(refused).toMatchObject({ status: 422, body: { code: 'bad-input', field: 'patient.language' } })
    expect(refused.body.detail).toContain('Use one of: en.')
    expect((await api.get('/api/v1/languages')).body).toEqual({ languages: ['en'] })
    const inEnglish = { ...request, patient: { ...request.patient, language: 'en' } }
    expect(await api.post('/api/v1/bookings', inEnglish)).toMatchObject({ status: 201 })
  })
})
