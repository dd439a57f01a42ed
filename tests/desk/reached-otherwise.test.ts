import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { NOW, DESK, openReception, pageText, postForm, type Reception } from './reception.ts'

// What the desk sees and types of people who cannot be texted as usual. Own rules, no source; invented people.
let reception: Reception
beforeAll(async () => {
  reception = await openReception()
  await reception.world.passUntil(NOW)
})
afterAll(() => reception.close())

const FORM = {
  ...{ name: 'Gerda Marsh', phone: '782 555 0160', lmp: '2026-03-02', sure: '0', usual: '28', purpose: 'routine' },
  ...{ date: '2026-03-18', time: '09:00', protocol: 'liquid-based-cytology', language: 'en', key: 'k_reached_1' },
  ...{ consent: 'yes', channel: '', detail: '', reach: '', relation: '', receiver: '', open: '', until: '' },
}
let key = 0
const send = (to: string, fields: object) =>
  postForm(reception.base, `${DESK}/${to}`, { ...FORM, key: `k_reached_${++key}`, ...fields })

/** Books, and books all the same where something is doubted. */
async function book(fields: object): Promise<string> {
  const asked = await (await send('book/look', fields)).text()
  const despite = /name="despite" value="([^"]+)"/.exec(asked)?.[1]?.replaceAll('&#39;', "'")
  const answer = await send('book', { ...fields, ...(despite !== undefined && { despite, why: 'wish' }) })
  expect(answer.status).toBe(303)
  return answer.headers.get('location')!.split('?')[0]!.split('/').at(-1)!
}
const html = async (path: string) => (await fetch(`${reception.base}${DESK}/${path}`)).text()

interface FollowUps {
  followUps: { patient: string; onTheLine: string | null }[]
}
interface Shown {
  booking: { patient: { id: string } }
}

describe('the booking form', () => {
  it('says beside the field that a landline takes no texts, and who receives must have a name', async () => {
    const landline = await send('book', { reach: 'calls-only', channel: 'sms' })
    expect(await landline.text()).toMatch(/id="channel-fault">A landline takes no texts/)
    const nameless = await send('book', { relation: 'guardian' })
    expect(await nameless.text()).toMatch(/id="receiver-fault">Give the name/)
  })

  it('shows before the booking what keeps messages from going, and where consent ends', async () => {
    await reception.world.putClinic({ minors: { below: 16, then: 'person' } })
    const minor = await (await send('book/look', { birth: '2012-01-01' })).text()
    expect(minor).toMatch(/Nothing is sent. The patient is under 16 at the visit/)
    await reception.world.putClinic()
    expect(await (await send('book/look', { until: '2026-03-12' })).text()).toMatch(/The consent ends on 12 March 2026/)
    expect(await (await send('book/look', { consent: '' })).text()).toMatch(/Nothing is sent until the patient agrees/)
  })
})

describe('a patient who does not hear a call', () => {
  it('is written to: the call list has no number to press, and says so', async () => {
    await book({ name: 'Hanne Tarn', phone: '782 555 0161', reach: 'texts-only', consent: '' })
    const page = await html('calls')
    const entry = page.split('<article').find((each) => each.includes('Hanne Tarn'))!
    expect(entry).toMatch(/Tell in writing how to prepare/)
    expect(entry).toMatch(/does not hear a call: write, or reach the patient another way/)
    expect(entry).toMatch(/I am writing about your visit/)
    expect(entry).not.toMatch(/href="tel:/)
  })
})

describe('a patient for whom somebody receives', () => {
  it('is named with whoever answers wherever a call is made from', async () => {
    const who = { relation: 'guardian', receiver: 'Bo Marsh', consent: '' }
    const id = await book({ name: 'Inga Marsh', phone: '782 555 0162', time: '10:00', ...who })
    const { patientId } = (await reception.world.deps.store.read.bookings.get(id))!
    const line = /On the line: Bo Marsh \(guardian\), not the patient. Name neither test nor reason./
    for (const page of [
      `visits/${id}`,
      `replies/${patientId}`,
      'calls',
      'bookings?from=2026-03-18',
      'day-sheet?date=2026-03-18',
    ])
      expect(await pageText(reception.base, `${DESK}/${page}`), page).toMatch(line)
    const list = (await (await fetch(`${reception.base}/api/v1/follow-ups?clinic=harbour`)).json()) as FollowUps
    const own = list.followUps.find(({ patient }) => patient === patientId)
    expect(own!.onTheLine).toMatch(line)
  })

  it('is corrected on the page of the visit, with consent recorded anew', async () => {
    const id = await book({ name: 'Jytte Marsh', phone: '782 555 0163', time: '11:00' })
    const given = {
      relation: 'partner',
      receiver: 'Kai Marsh',
      consent: 'yes',
      until: '2026-12-01',
      reach: 'texts-only',
    }
    const answer = await send(`visits/${id}/reach`, given)
    expect(answer.headers.get('location')).toMatch(/said=amended/)
    const { booking } = (await (await fetch(`${reception.base}/api/v1/bookings/${id}`)).json()) as Shown
    expect(booking.patient).toMatchObject({
      ...{ reach: 'texts-only', channel: 'sms', detail: 'discreet' },
      receiver: { relation: 'partner', name: 'Kai Marsh', fullDetail: false },
    })
    const consents = await reception.world.deps.store.read.patients.consents(booking.patient.id)
    expect(consents.at(-1)).toMatchObject({ givenBy: 'receiver', until: '2026-12-01' })
  })
})

describe('a patient for whom somebody is known to receive', () => {
  const who = { name: 'Mila Marsh', phone: '782 555 0165' }
  const consentsOf = async (patientId: string) => reception.world.deps.store.read.patients.consents(patientId)
  const readTo = (page: string) => /name="readTo" value="(\w+)"/.exec(page)?.[1]

  it('is not booked with an answer of the patient’s in the receiver’s name', async () => {
    const id = await book({ ...who, relation: 'guardian', receiver: 'Nils Marsh', consent: '', time: '13:00' })
    const { patientId } = (await reception.world.deps.store.read.bookings.get(id))!
    const again = { ...who, date: '2026-03-31', time: '13:00' }
    const looked = await (await send('book/look', again)).text()
    const despite = /name="despite" value="([^"]+)"/.exec(looked)?.[1]?.replaceAll('&#39;', "'")
    const meant = { ...again, ...(despite !== undefined && { despite, why: 'wish' }) }
    const answer = await send('book', { ...meant, readTo: 'patient' })
    const page = await answer.text()
    expect(answer.status).toBe(409)
    expect(page).toMatch(/id="consent-fault">Somebody else reads this patient/)
    expect(page).toMatch(/Nils Marsh \(guardian\) reads the messages. Read out to that person/)
    expect(readTo(page)).toBe('receiver')
    expect(page).not.toMatch(/name="consent" value="yes"[^>]* checked/)
    expect(await consentsOf(patientId)).toEqual([])
    expect((await send('book', { ...meant, readTo: 'receiver' })).status).toBe(303)
    expect(await consentsOf(patientId)).toMatchObject([
      { givenBy: 'receiver', wording: expect.stringMatching(/messages about this patient/) },
    ])
  })

  it('is asked in the own words where the form says that the patient reads them again', async () => {
    const looked = await (await send('book/look', { ...who, relation: 'self', readTo: 'receiver' })).text()
    expect(readTo(looked)).toBe('patient')
    expect(looked).toMatch(/name="consent" value="yes"[^>]* checked/)
    const stranger = await (await send('book/look', { name: 'Ona Marsh', phone: who.phone, readTo: 'receiver' })).text()
    expect(readTo(stranger)).toBe('patient')
    expect(stranger).not.toMatch(/name="consent" value="yes"[^>]* checked/)
  })
})

describe('a landline', () => {
  it('is not written to from the conversation', async () => {
    const id = await book({ name: 'Liv Marsh', phone: '782 555 0164', time: '12:00', reach: 'calls-only' })
    const { patientId } = (await reception.world.deps.store.read.bookings.get(id))!
    const page = await pageText(reception.base, `${DESK}/replies/${patientId}`)
    expect(page).toMatch(/No text reaches this number/)
    expect(page).not.toMatch(/Send to the patient/)
  })
})
