import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { hearOnPage } from '../../src/flows/replies/hear-on-page.ts'
import { Conversations } from './conversations.ts'

// Two clinics that know a number: what is written to one is not shown to the other. Invented data.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
beforeEach(() => at.begin())
afterAll(() => at.world.close())

const HOUR_MS = 3_600_000
const WORDS = 'I used a cream, SECRET'

describe('a reply belongs to the clinic whose text arrived last', () => {
  it('not to one whose text never arrived', async () => {
    await at.book(`${at.day(10)}T10:00`)
    await at.pass(1)
    at.world.pocket.behave(at.phone, { fate: 'undelivered', times: 1 })
    const visit = await at.book(`${at.day(11)}T10:00`, { clinic: await at.anotherClinic() })
    await at.pass(1)
    expect(await at.kinds(visit, 'undelivered')).toEqual(['confirmation'])
    expect((await at.write(WORDS)).clinicId).toBe(at.clinic)
  })

  it('nor to one whose answer stood on its page', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`, { clinic: await at.anotherClinic() })
    await at.pass(1)
    await at.book(`${at.day(11)}T10:00`)
    await at.pass(1)
    await hearOnPage(at.deps, visit.id, {
      reading: { meaning: 'cannot-come', confidence: 1, words: [] },
    })
    expect((await at.write(WORDS)).clinicId).toBe(at.clinic)
  })
})

describe('a question that never arrived', () => {
  it('is not what a yes answers: it is a yes to the visit', async () => {
    const visit = await at.book(`${at.day(30)}T10:30`, { cycle: at.cycling(7) })
    const messages = await at.deps.store.read.messages.ofBooking(visit.id)
    const check = messages.find(({ kind }) => kind === 'cycle-check')!
    await at.world.passUntil(new Date(check.sendAt.getTime() - HOUR_MS).toISOString(), 24 * 60)
    at.world.pocket.behave(at.phone, { fate: 'undelivered', times: 1 })
    await at.pass(2)
    expect(await at.kinds(visit, 'undelivered')).toEqual(['cycle-check'])
    await at.write('yes')
    expect((await at.now(visit)).confirmedAt).not.toBeNull()
  })
})
