import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { PURPOSE_NAMES } from '../../src/domain/visits/purpose.ts'
import { Conversations } from './conversations.ts'

// Light bleeding is no reason to stay away: the Irish programme ("light spotting is okay"), Health NZ ("as long as the
// bleeding is not too heavy"). That a person decides on the day, and no text calls the visit off: common practice, no
// source. Invented people.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
afterAll(() => at.world.close())
beforeEach(async () => {
  await at.begin()
  await at.openings()
})

const lastText = () => at.world.textsTo(at.phone).at(-1)
const callsAbout = async (bookingId: string) => {
  const open = await at.deps.store.read.followUps.list({ bookingId, open: true, limit: 50 })
  return open.map(({ reason }) => reason)
}
const pending = (bookingId: string) => at.deps.store.read.offers.pending(bookingId)

describe('bleeding on the day of the visit, or the day before', () => {
  it.each([
    ['my period started today', 0],
    ['my period started today', 1],
    ['still bleeding', 1],
    ['I have my period, do I still come in?', 1],
    ["my period started today so I guess I can't come", 1],
  ])('"%s", %i day before: come or call, and the desk calls; nothing is called off', async (text, ahead) => {
    const visit = await at.book(`${at.day(ahead)}T16:00`, { cycle: at.cycling(26) })
    await at.world.reply(at.phone, text)
    expect(lastText()).toMatch(/call us at .* If the bleeding is light, do come on/)
    expect(await pending(visit.id)).toBeUndefined()
    expect(await callsAbout(visit.id)).toContain('bleeding-at-visit')
    const after = await at.deps.store.read.bookings.get(visit.id)
    expect(after).toMatchObject({ state: 'booked', visitAt: visit.visitAt })
  })

  it('earlier than that it is answered with other times, and the visit stays until one is chosen', async () => {
    const visit = await at.book(`${at.day(3)}T16:00`, { cycle: at.cycling(26) })
    await at.world.reply(at.phone, 'my period started today')
    expect(lastText()).toContain('Until then your visit stays')
    expect(await callsAbout(visit.id)).not.toContain('bleeding-at-visit')
  })
})

describe('what is no emergency', () => {
  it('leaves the visit as it is, with a text that says so, for every purpose', async () => {
    for (const [index, purpose] of PURPOSE_NAMES.entries()) {
      const phone = at.anotherPhone()
      const visit = await at.book(`${at.day(10 + index)}T16:00`, { phone, purpose })
      await at.world.reply(phone, "I'm pregnant, can I still have it?")
      expect(at.world.textsTo(phone).at(-1)).toMatch(/A nurse or doctor will call you\. Please keep your visit/)
      expect(await callsAbout(visit.id)).toContain('clinician')
    }
  })

  it('a need is kept beside the visit, until the reading is corrected', async () => {
    const visit = await at.book(`${at.day(10)}T16:00`)
    await at.world.reply(at.phone, 'can a woman do it please')
    const needs = async () => (await at.deps.store.read.bookings.get(visit.id))!.needs
    expect(await needs()).toEqual(['can a woman do it please'])
    expect(await callsAbout(visit.id)).toContain('needs')
    const [reply] = await at.deps.store.read.replies.fromPhone(at.phone, new Date(0))
    await at.correct(reply!, 'confirm')
    expect(await needs()).toEqual([])
  })
})
