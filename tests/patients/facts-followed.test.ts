import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { writeByHand } from '../../src/flows/messages/write-by-hand.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

// Invented people at numbers reserved for fiction, on virtual time. What must hold is the product's own promise: nobody
// is told at a number or in a way that is no longer the patient's, and whom nobody tells is on the call list.
const START = '2026-03-09T13:00:00Z'
const NIGHT = '2026-03-10T02:00:00Z' // 23:00 in Halifax
const PREPARATION = /no sex/i

let world: TestWorld
let people = 0
beforeAll(async () => {
  world = await TestWorld.create(START)
})
afterAll(() => world.close())

interface Person {
  name: string
  phone: string
}
const somebody = (phone = 100 + ++people): Person => ({ name: `Nobody ${++people}`, phone: `782 555 0${phone}` })
const e164 = ({ phone }: Person) => `+1${phone.replaceAll(' ', '')}`
const last4 = (phone: string) => `782 555 0${phone}`

const callsAbout = async (bookingId: string) =>
  (await world.deps.store.read.followUps.list({ bookingId, open: true, limit: 100 })).map(({ reason }) => reason)
const preparationTo = (phone: string) => world.textsTo(phone).filter((text) => PREPARATION.test(text))

describe('what changes about a patient is followed by every visit', () => {
  it('a number, language and wish for discreet texts changed on one visit hold for the other', async () => {
    const person = somebody()
    const first = await world.book({ ...person, visit: '2026-03-19T10:00' })
    const second = await world.book({ ...person, visit: '2026-03-24T10:20' })
    await amendBooking(world.deps, first.booking.id, {
      patient: { phone: last4('177'), detail: 'discreet', language: 'fr' },
      by: 'desk',
    })
    const before = world.textsTo(e164(person)).length
    await world.passUntil('2026-03-24T10:00:00Z', 120)
    expect(world.textsTo(e164(person)).slice(before)).toEqual([])
    const told = (await world.deps.store.read.messages.ofBooking(second.booking.id)).filter(
      ({ kind, state }) => kind === 'prep' && state === 'delivered',
    )
    expect(told.map(({ phone, language, detail }) => [phone, language, detail])).toEqual([
      ['+17825550177', 'fr', 'discreet'],
    ])
  })

  it('booking again in another way changes the texts of the visit before', async () => {
    const person = { name: 'Nobody Twice', phone: last4('178') }
    const first = await world.book({ ...person, visit: '2026-04-08T10:00' })
    const patient = { ...person, language: 'es', channel: 'sms', detail: 'discreet' } as const
    const { bookAndRing } = await import('../../src/flows/visits/book-visit.ts')
    await bookAndRing(world.deps, {
      clinic: 'harbour',
      protocol: 'liquid-based-cytology',
      visit: '2026-04-15T10:00',
      patient,
      cycle: { status: 'no-periods' },
      consent: null,
      by: 'desk',
    })
    const planned = (await world.deps.store.read.messages.ofBooking(first.booking.id)).filter(
      ({ state, kind }) => state === 'planned' && kind === 'prep',
    )
    expect(planned.map(({ language, detail }) => [language, detail])).toEqual([['es', 'discreet']])
  })

  it('preparation that went to a number that was mistyped is told again to the right one', async () => {
    const mistyped = { name: 'Nobody Mistyped', phone: last4('179') }
    const { booking } = await world.book({ ...mistyped, visit: '2026-04-02T10:00' })
    await world.passUntil('2026-03-31T01:00:00Z', 120)
    expect(preparationTo('+17825550179')).toHaveLength(1)
    await amendBooking(world.deps, booking.id, { patient: { phone: last4('180') }, by: 'desk' })
    await world.passUntil('2026-03-31T13:10:00Z', 30)
    expect(preparationTo('+17825550180')).toHaveLength(1)
  })
})

describe('an old private address', () => {
  let api: Awaited<ReturnType<typeof serveApi>>
  beforeAll(async () => {
    await world.passUntil('2026-04-01T15:00:00Z', 240)
    api = await serveApi(world)
  })
  afterAll(() => api.close())

  const discreet = (person: Person) => ({ ...person, language: 'en', channel: 'sms', detail: 'discreet' }) as const

  /** The address as the patient got it by text. */
  async function addressTo(person: Person, visit: string): Promise<{ id: string; path: string }> {
    const booked = await api.post('/api/v1/bookings', {
      clinic: 'harbour',
      visit,
      patient: discreet(person),
      cycle: { lmp: 'unknown' },
      consent: { recordedBy: 'desk' },
    })
    await world.passUntil(new Date(world.clock.now().getTime() + 60_000).toISOString())
    const path = world
      .textsTo(e164(person))
      .map((text) => /\/v\/[\w.-]*\w/.exec(text)?.[0])
      .find(Boolean)
    return { id: booked.body.booking.id, path: path! }
  }
  const status = async (path: string) => (await fetch(api.base + path)).status

  it('never ends in a mark, which a telephone would leave out of what it makes of a text', () => {
    const ends = Array.from({ length: 300 }, (_, i) =>
      world.deps.pageOf(`b_${i}`, e164({ name: 'Nobody Here', phone: last4('180') })).at(-1),
    )
    expect(ends.filter((end) => !/[0-9A-Za-z]/.test(end!))).toEqual([])
  })

  it('ends when the number changes', async () => {
    const person = { name: 'Nobody Moved', phone: last4('181') }
    const { id, path } = await addressTo(person, '2026-05-04T10:00')
    expect(await status(path)).toBe(200)
    await api.patch(`/api/v1/bookings/${id}`, { patient: { phone: last4('182') } })
    expect(await status(path)).toBe(404)
  })

  it('ends when the number turns out to be somebody else’s', async () => {
    const person = { name: 'Nobody There', phone: last4('183') }
    const { path } = await addressTo(person, '2026-05-04T10:20')
    await world.reply(e164(person), 'wrong number')
    expect(await status(path)).toBe(404)
  })

  it('ends when the patient is said to have died; nothing more is sent and a person looks into it', async () => {
    const person = { name: 'Nobody Gone', phone: last4('184') }
    const { id, path } = await addressTo(person, '2026-05-04T10:40')
    await world.reply(e164(person), 'She passed away in January.')
    expect(await status(path)).toBe(404)
    expect(await callsAbout(id)).toContain('died')
    expect(await world.kindsOf(id, 'planned')).toEqual([])
  })
})

describe('whom nobody may write to is on the call list', () => {
  it('after a change to a channel that was not agreed to', async () => {
    const { booking } = await world.book({ name: 'Nobody Voice', phone: last4('185'), visit: '2026-05-05T10:00' })
    await amendBooking(world.deps, booking.id, { patient: { channel: 'voice' }, by: 'desk' })
    expect(await callsAbout(booking.id)).toContain('no-consent')
    await amendBooking(world.deps, booking.id, { consent: { recordedBy: 'desk' }, by: 'desk' })
    expect(await callsAbout(booking.id)).not.toContain('no-consent')
    expect(await world.kindsOf(booking.id, 'planned')).toContain('prep')
  })

  it('after a change to a number that wants no messages', async () => {
    await world.book({ name: 'Nobody Stopping', phone: last4('186'), visit: '2026-05-05T10:20' })
    await world.reply('+17825550186', 'STOP')
    const { booking } = await world.book({ name: 'Nobody Following', phone: last4('187'), visit: '2026-05-05T10:40' })
    await amendBooking(world.deps, booking.id, { patient: { phone: last4('186') }, by: 'desk' })
    expect(await callsAbout(booking.id)).toContain('opted-out')
  })

  it('STOP from a number shared by two patients: one call for each visit that lost its preparation', async () => {
    const mother = await world.book({ name: 'Nobody Senior', phone: last4('188'), visit: '2026-05-06T10:00' })
    const daughter = await world.book({ name: 'Nobody Junior', phone: last4('188'), visit: '2026-05-07T10:00' })
    await world.reply('+17825550188', 'STOP')
    expect(await callsAbout(mother.booking.id)).toContain('opted-out')
    expect(await callsAbout(daughter.booking.id)).toContain('opted-out')
  })

  it('when consent is withdrawn', async () => {
    const api = await serveApi(world)
    const { booking, patient } = await world.book({
      name: 'Nobody Willing',
      phone: last4('189'),
      visit: '2026-05-08T10:00',
    })
    expect((await api.post(`/api/v1/patients/${patient.id}/consent/withdraw`, {})).body).toEqual({ withdrawn: 1 })
    await api.close()
    expect(await callsAbout(booking.id)).toContain('no-consent')
    expect(await world.kindsOf(booking.id, 'planned')).toEqual([])
  })

  it('when a person reads a text as a wish for no more messages', async () => {
    const { booking } = await world.book({ name: 'Nobody Read', phone: last4('190'), visit: '2026-05-08T10:20' })
    await world.reply('+17825550190', 'hm, I would rather not have these')
    const [reply] = await world.deps.store.read.replies.fromPhone('+17825550190', new Date(0))
    await correctReading(world.deps, reply!.id, { meaning: 'stop', by: 'desk' })
    expect(await callsAbout(booking.id)).toContain('opted-out')
  })
})

describe('a correction takes back what that reading did, and nothing more', () => {
  it('a plain STOP after it stands', async () => {
    const phone = '+17825550191'
    await world.book({ name: 'Nobody Twice Stopped', phone: last4('191'), visit: '2026-05-11T10:00' })
    await world.reply(phone, 'please stop texting me')
    await world.reply(phone, 'STOP')
    const [first] = await world.deps.store.read.replies.fromPhone(phone, new Date(0))
    await correctReading(world.deps, first!.id, { meaning: 'unclear', by: 'desk' })
    expect(await world.deps.store.read.optOuts.has(phone)).toBe(true)
  })

  it('a STOP before it stands', async () => {
    const phone = '+17825550192'
    await world.book({ name: 'Nobody Stopped Twice', phone: last4('192'), visit: '2026-05-11T10:20' })
    await world.reply(phone, 'STOP')
    await world.reply(phone, 'please stop texting me')
    const [, second] = await world.deps.store.read.replies.fromPhone(phone, new Date(0))
    await correctReading(world.deps, second!.id, { meaning: 'unclear', by: 'desk' })
    expect(await world.deps.store.read.optOuts.has(phone)).toBe(true)
  })

  it('without another one the number is written to again, and the call is off the list', async () => {
    const phone = '+17825550193'
    const { booking } = await world.book({ name: 'Nobody Misread', phone: last4('193'), visit: '2026-05-11T10:40' })
    await world.reply(phone, 'please stop texting me')
    const [only] = await world.deps.store.read.replies.fromPhone(phone, new Date(0))
    await correctReading(world.deps, only!.id, { meaning: 'unclear', by: 'desk' })
    expect(await world.deps.store.read.optOuts.has(phone)).toBe(false)
    expect(await callsAbout(booking.id)).not.toContain('opted-out')
    expect(await world.kindsOf(booking.id, 'planned')).toContain('prep')
  })
})

describe('what the desk told or wrote is not taken back by a new plan', () => {
  let night: TestWorld
  beforeEach(async () => {
    night = await TestWorld.create(START)
    await night.book({ visit: '2026-03-19T10:00' })
    await night.passUntil(NIGHT)
    return () => night.close()
  })
  const ADA = '+17825550101'
  const onlyVisit = async () => (await night.deps.store.read.bookings.list({ limit: 1 }))[0]!
  const reasons = () => night.reasons()
  const english = loadTexts().languages.get('en')!
  const byHand = (words: string) =>
    onlyVisit().then(({ patientId }) =>
      writeByHand(night.deps, { patientId, clinicId: 'harbour', words, by: 'desk' }, english),
    )

  it('a notice of a move that waits for the morning is told though the name was corrected meanwhile', async () => {
    const { id } = await onlyVisit()
    await amendBooking(night.deps, id, { visit: '2026-03-25T10:00', by: 'desk' })
    await amendBooking(night.deps, id, { patient: { name: 'Ada Fennwick' }, by: 'desk' })
    await night.passUntil('2026-03-10T13:00:00Z')
    expect(night.textsTo(ADA).at(-1)).toMatch(/Mar 25/)
  })

  it('and goes to the new number where that has changed', async () => {
    const { id } = await onlyVisit()
    await amendBooking(night.deps, id, { visit: '2026-03-25T10:00', by: 'desk' })
    const before = night.textsTo(ADA).length
    await amendBooking(night.deps, id, { patient: { phone: '782 555 0166' }, by: 'desk' })
    await night.passUntil('2026-03-10T13:00:00Z')
    expect(night.textsTo(ADA).length).toBe(before)
    expect(night.textsTo('+17825550166').some((text) => /Mar 25/.test(text))).toBe(true)
  })

  it('a text written by hand is told too', async () => {
    expect(await byHand('Please ring us about the time.')).toBe('waiting')
    await amendBooking(night.deps, (await onlyVisit()).id, { patient: { name: 'Ada Fennwick' }, by: 'desk' })
    await night.passUntil('2026-03-10T13:00:00Z')
    expect(night.textsTo(ADA).at(-1)).toMatch(/ring us about the time/)
  })

  it('and becomes a call where the patient may not be written to any more', async () => {
    await byHand('Please ring us about the time.')
    await night.reply(ADA, 'STOP')
    await night.passUntil('2026-03-10T13:00:00Z')
    expect(night.textsTo(ADA).some((text) => /ring us about/.test(text))).toBe(false)
    expect(await reasons()).toContain('text-lost')
  })

  it('a move to a time before the clinic’s hours can be told by a person only, and is on the call list', async () => {
    const { id } = await onlyVisit()
    await amendBooking(night.deps, id, { visit: '2026-03-10T08:30', by: 'desk' })
    expect(await reasons()).toContain('not-delivered')
    await expect(byHand('See you at half past eight.')).rejects.toThrow(/no sending hours left/)
  })

  it('"we have asked for" names the time that was asked for', async () => {
    await night.putClinic({ movePolicy: 'desk-approves' })
    await night.openings('2026-03-26T15:20')
    await night.passUntil('2026-03-10T14:00:00Z')
    await night.reply(ADA, 'I cannot come that day')
    await night.reply(ADA, '1')
    expect(night.textsTo(ADA).at(-1)).toMatch(/asked for Thu Mar 26 3:20pm/)
  })
})
