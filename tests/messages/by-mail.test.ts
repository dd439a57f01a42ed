import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Reach } from '../../src/domain/patients/reach.ts'
import { amendBooking, cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { prepStatus } from '../../src/domain/preparation/prep-status.ts'
import { silentGateways } from '../../src/flows/lookups.ts'
import { writeByHand } from '../../src/flows/messages/write-by-hand.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { serveApi } from '../harness/api.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'

// E-mail has no receipts: what was sent is known to have been read only once somebody presses a button on the private
// page. Opening it proves nothing, since programs that look through mail open its addresses (RFC 8058 §1 says so of
// addresses for unsubscribing). The rest are the product's own promises; people are invented.
const ADDRESS = 'ada@post.example'
const PHONE = '+17825550101'
let world: TestWorld
let base: string
let close: () => Promise<void>
beforeEach(async () => {
  world = await TestWorld.create('2026-03-09T13:00:00Z')
  ;({ base, close } = await serveApi(world))
})
afterEach(async () => {
  await close()
  await world.close()
})

const VISIT = '2026-03-17T10:00'
async function bookByMail(changes: { email?: string; reach?: Reach; alsoTexts?: boolean } = {}) {
  const { email = ADDRESS, alsoTexts = false, ...way } = changes
  const person = { name: 'Ada Fenwick', phone: PHONE, language: 'en', detail: 'full' as const }
  const booked = await world.book({
    ...{ visit: VISIT, cycle: { status: 'no-periods' } },
    patient: { ...person, channel: 'email', email, ...way },
  } as never)
  if (alsoTexts)
    await world.deps.store.transact((tx) =>
      tx.patients.addConsent(booked.patient.id, {
        ...{ channel: 'sms', recordedBy: 'desk', recordedAt: world.clock.now(), wording: 'texts too' },
      }),
    )
  await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
  return booked.booking.id
}
const mails = () => world.textsTo(ADDRESS)
const page = (id: string) => base + new URL(world.deps.pageOf(id, PHONE)).pathname
const press = (id: string, answer: string) =>
  fetch(page(id), { method: 'POST', body: new URLSearchParams({ answer, lang: 'en' }), redirect: 'manual' })
const messages = (id: string, kind = 'prep') =>
  world.deps.store.read.messages.ofBooking(id).then((all) => all.filter((each) => each.kind === kind))
async function standing(id: string) {
  const booking = (await world.deps.store.read.bookings.get(id))!
  const all = await world.deps.store.read.messages.ofBooking(id)
  return prepStatus(booking, world.deps.protocols.get(booking.protocol)!, all, PHONE, silentGateways(world.deps))
}
const amend = (id: string, patient: object) => amendBooking(world.deps, id, { patient, by: 'desk' })

describe('whoever asked for e-mail', () => {
  it('gets preparation a day before a text would go, with what to avoid, the page and the way to answer', async () => {
    const id = await bookByMail()
    await world.passUntil('2026-03-13T20:00:00Z')
    expect(mails()).toHaveLength(1)
    expect(mails()[0]).toMatch(/booked for/)
    await world.passUntil('2026-03-13T22:00:00Z')
    expect(mails()[1]).toMatch(/avoid: sex, lubricant/)
    expect(mails()[1]).toContain(world.deps.pageOf(id, PHONE))
    expect(mails()[1]).toMatch(/do not reply to this e-mail/)
    expect(world.textsTo(PHONE)).toEqual([])
    // 48 hours before the visit, less the four hours of a text, or the evening before: 18:00 there, and a day more.
    expect((await messages(id))[0]!.sentAt).toEqual(new Date('2026-03-13T21:00:00Z'))
  })

  it('is told once the page says that it was read, and by nothing less', async () => {
    const id = await bookByMail()
    await world.passUntil('2026-03-13T22:00:00Z')
    expect(await standing(id)).toBe('on-its-way')
    expect(await (await fetch(page(id))).text()).toMatch(/I have read it/)
    expect(await standing(id)).toBe('on-its-way')
    expect((await press(id, 'read')).status).toBe(303)
    expect(await standing(id)).toBe('told')
    expect(await (await fetch(page(id))).text()).not.toMatch(/I have read it/)
    await world.passUntil('2026-03-16T12:00:00Z')
    expect(await world.reasons()).toEqual([])
    expect(world.textsTo(PHONE)).toEqual([])
  })

  it('is told by any other answer on the page', async () => {
    const id = await bookByMail()
    await world.passUntil('2026-03-13T22:00:00Z')
    await press(id, 'confirm')
    expect(await standing(id)).toBe('told')
  })

  it('is texted in time where texts were agreed to and nobody said that it was read', async () => {
    const id = await bookByMail({ alsoTexts: true })
    await world.passUntil('2026-03-14T22:00:00Z')
    expect(world.textsTo(PHONE)).toHaveLength(1)
    expect(world.textsTo(PHONE)[0]).toMatch(/From Sun.* no sex/)
    expect(await standing(id)).toBe('told')
    expect(await world.reasons()).toEqual([])
  })

  it('is called where nothing else was agreed to, and no more once it was read after all', async () => {
    const id = await bookByMail()
    await world.passUntil('2026-03-14T22:00:00Z')
    expect(await world.reasons()).toEqual(['not-delivered'])
    expect(await standing(id)).toBe('not-reached')
    await press(id, 'read')
    expect(await world.reasons()).toEqual([])
    expect(await standing(id)).toBe('told')
  })

  it('is not texted any more where it was read while the text waited for its hour', async () => {
    const id = await bookByMail({ alsoTexts: true })
    await world.passUntil('2026-03-13T22:00:00Z')
    const [mail] = await messages(id)
    await world.deps.store.transact((tx) =>
      tx.messages.move(mail!.id, ['sent'], 'sent', { sentAt: new Date('2026-03-13T08:00:00Z') }),
    )
    await world.passUntil('2026-03-14T04:30:00Z')
    expect((await messages(id)).map(({ channel, state }) => [channel, state])).toContainEqual(['sms', 'queued'])
    await press(id, 'read')
    await world.passUntil('2026-03-16T12:00:00Z')
    expect(world.textsTo(PHONE)).toEqual([])
    expect(await standing(id)).toBe('told')
  })

  it('is reached though the number takes no texts and calls are not heard', async () => {
    const id = await bookByMail({ reach: 'neither' })
    await world.passUntil('2026-03-13T22:00:00Z')
    expect(mails()).toHaveLength(2)
    expect(await world.reasons()).toEqual([])
    await press(id, 'read')
    expect(await standing(id)).toBe('told')
  })

  it('ends it on the page, and the visit goes on the call list', async () => {
    const id = await bookByMail()
    expect(await (await fetch(page(id))).text()).toMatch(/End these e-mails/)
    const answered = await press(id, 'end-mail')
    expect(await (await fetch(base + answered.headers.get('location')!)).text()).toMatch(
      /not write to you by e-mail again/,
    )
    expect(await (await fetch(page(id))).text()).not.toMatch(/End these e-mails/)
    await world.passUntil('2026-03-16T12:00:00Z')
    expect(mails()).toHaveLength(1)
    expect(await world.reasons()).toContain('no-consent')
  })

  it('gets no e-mail after STOP, by text or on the list of calls', async () => {
    await bookByMail()
    await world.reply(PHONE, 'STOP')
    await world.passUntil('2026-03-16T12:00:00Z')
    expect(mails()).toHaveLength(1)
    expect(await world.reasons()).toContain('opted-out')
  })
})

describe('an address', () => {
  it('that changes is written to at once, also by what waits', async () => {
    const id = await bookByMail()
    await amend(id, { email: 'fenwick@post.example' })
    await world.passUntil('2026-03-13T22:00:00Z')
    expect(world.textsTo('fenwick@post.example').at(-1)).toMatch(/avoid/)
    expect(mails()).toHaveLength(1)
  })

  it('that is taken away leaves the number, for which consent is asked anew', async () => {
    const id = await bookByMail()
    const { patient } = await amend(id, { email: null })
    expect(patient).toMatchObject({ channel: 'sms', email: null })
    expect(await world.reasons()).toContain('no-consent')
  })

  it.each([
    'ada',
    'ada@post',
    'a@b.example, c@d.example',
    'Ada <ada@post.example>',
    'adä@post.example',
    'ada@post.example\nBcc: x@y.example',
  ])('that is not one address is refused: %j', async (email) => {
    await expect(bookByMail({ email })).rejects.toMatchObject({ code: 'bad-input', detail: { field: 'patient.email' } })
  })

  it('is needed for e-mail', async () => {
    await expect(bookByMail({ email: '' })).rejects.toMatchObject({ detail: { field: 'patient.email' } })
  })
})

describe('news by e-mail', () => {
  it('of a move is made up for by a person where nobody said that it was read', async () => {
    const id = await bookByMail()
    await world.passUntil('2026-03-09T14:00:00Z')
    await amendBooking(world.deps, id, { visit: '2026-03-24T10:00', by: 'desk' })
    await world.passUntil('2026-03-09T15:00:00Z')
    expect(mails().at(-1)).toMatch(/now on .*March 24/)
    await world.passUntil('2026-03-10T13:00:00Z')
    expect(await world.reasons()).toEqual(['not-delivered'])
    await press(id, 'read')
    expect(await world.reasons()).toEqual([])
  })

  it('of a cancelled visit can be said to be read on the page, though that has closed', async () => {
    const id = await bookByMail()
    await cancelBooking(world.deps, id, 'desk')
    await world.passUntil('2026-03-09T15:00:00Z')
    expect(mails().at(-1)).toMatch(/is cancelled/)
    expect(await (await fetch(page(id))).text()).toMatch(/I have read it/)
    await press(id, 'read')
    await world.passUntil('2026-03-11T13:00:00Z')
    expect(await world.reasons()).toEqual([])
  })

  it('is no text: what the patient texts belongs to the clinic that texted, and what the desk writes is texted', async () => {
    await bookByMail()
    await world.passUntil('2026-03-09T14:00:00Z')
    expect(await world.deps.store.read.messages.writers(PHONE, world.clock.now())).toEqual([])
    const { patientId } = (await world.deps.store.read.bookings.list({ limit: 1 }))[0]!
    const language = loadTexts().languages.get('en')!
    const written = writeByHand(
      world.deps,
      { patientId, clinicId: CLINIC.id, words: 'Please call us.', by: 'desk' },
      language,
    )
    await expect(written).rejects.toMatchObject({ detail: { field: 'words' } })
  })
})
