import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { bookAndRing } from '../../src/flows/visits/book-visit.ts'
import { approveOnly } from '../harness/approvals.ts'
import { TestWorld } from '../harness/world.ts'

describe('a site that does not send drafts', () => {
  let world: TestWorld
  let count = 0
  const phone = () => `+178255501${String(count).padStart(2, '0')}`

  beforeAll(async () => {
    const site = { settings: { DRAFT_TEXTS: 'refuse' }, approved: [] }
    world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [], site)
  })
  afterAll(() => world.close())

  /** Books a patient of its own for the language. */
  function book(language: string, visit: string) {
    count += 1
    const patient = { name: `Patient ${count}`, phone: phone(), language, channel: 'sms', detail: 'full' } as const
    const cycle = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28 } as const
    const consent = { recordedBy: 'desk' }
    return bookAndRing(world.deps, { protocol: 'liquid-based-cytology', visit, patient, cycle, consent, by: 'desk' })
  }
  const stateOf = async (id: string, kind: string) =>
    (await world.deps.store.read.messages.ofBooking(id)).find((message) => message.kind === kind)
  const reasonsOf = async (bookingId: string) =>
    (await world.deps.store.read.followUps.list({ bookingId, open: true, limit: 9 })).map(({ reason }) => reason)

  it('books in any language while none is approved, and sends what waited as soon as one is', async () => {
    const { booking } = await book('en', '2026-03-24T10:30')
    await world.passUntil('2026-03-09T16:00:00Z')
    expect(world.textsTo(phone())).toEqual([])
    expect(await stateOf(booking.id, 'confirmation')).toMatchObject({ state: 'queued', attempt: 0 })
    await approveOnly(world.composed, 'en')
    await world.passUntil('2026-03-09T17:00:00Z')
    expect(world.textsTo(phone())).toEqual([expect.stringMatching(/^Harbour Clinic: Your visit is booked for/)])
  })

  it('has what became worthless meanwhile on its call list, and reads replies all the same', async () => {
    await approveOnly(world.composed)
    const { booking } = await book('en', '2026-03-13T10:30')
    await world.reply(phone(), 'is there parking behind the bakery')
    await world.passUntil('2026-03-12T13:00:00Z')
    expect(world.textsTo(phone())).toEqual([])
    expect(await stateOf(booking.id, 'prep')).toMatchObject({ state: 'expired' })
    expect(await reasonsOf(booking.id)).toEqual(expect.arrayContaining(['not-delivered', 'unclear-reply']))
  })

  it('refuses to book in a language that is not approved, and says which are; a region of one is fine', async () => {
    await approveOnly(world.composed, 'en')
    const message = 'There are no approved texts in this language. Use one of: en.'
    const refusal = { code: 'bad-input', detail: { field: 'patient.language', message } }
    await expect(book('fr', '2026-03-24T11:30')).rejects.toMatchObject(refusal)
    const { booking } = await book('en-CA', '2026-03-24T11:30')
    const amend = (patient: object) => amendBooking(world.deps, booking.id, { patient, by: 'desk' })
    await expect(amend({ language: 'fr' })).rejects.toMatchObject(refusal)
    await expect(amend({ name: 'Ada F.' })).resolves.toBeDefined()
  })

  it('calls patients whose language may be sent no more, whatever they were to be told', async () => {
    await approveOnly(world.composed, 'en', 'fr')
    const { booking } = await book('fr', '2026-03-25T10:30')
    await approveOnly(world.composed, 'en')
    await world.passUntil('2026-03-12T15:00:00Z')
    expect(await stateOf(booking.id, 'confirmation')).toMatchObject({ state: 'failed', code: 'draft-text' })
    expect(await reasonsOf(booking.id)).toEqual(['not-delivered'])
    // Other facts about the visit can still be put right.
    const amendment = { patient: { name: 'Ada F.' }, by: 'desk' }
    await expect(amendBooking(world.deps, booking.id, amendment)).resolves.toBeDefined()
  })

  it('opens no call to a number that has just asked to be left alone', async () => {
    await approveOnly(world.composed, 'en', 'fr')
    const { booking } = await book('fr', '2026-03-26T10:30')
    await world.passUntil('2026-03-12T16:00:00Z')
    await approveOnly(world.composed, 'en')
    await world.reply(phone(), 'STOP')
    expect(await reasonsOf(booking.id)).not.toContain('not-delivered')
  })
})

describe('a site that allows drafts', () => {
  it('sends every language, and marks what nobody has approved', async () => {
    const world = await TestWorld.create('2026-03-09T13:00:00Z')
    const person = { name: 'Bea Fenwick', phone: '+17825550102', language: 'fr' }
    const patient = { ...person, channel: 'sms', detail: 'full' } as const
    const cycle = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28 } as const
    const request = { protocol: 'liquid-based-cytology', patient, cycle, consent: { recordedBy: 'desk' }, by: 'desk' }
    await bookAndRing(world.deps, { ...request, visit: '2026-03-24T10:30' })
    await world.book({ visit: '2026-03-24T11:30' })
    await world.passUntil('2026-03-09T14:00:00Z')
    expect(world.textsTo('+17825550102')).toEqual([expect.stringMatching(/^\[draft\] Harbour Clinic: Rendez-vous/)])
    expect(world.textsTo('+17825550101')).toEqual([expect.stringMatching(/^Harbour Clinic: Your visit/)])
    await world.close()
  })
})
