import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import type { Booking } from '../../src/domain/visits/booking.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { Conversations } from './conversations.ts'

// Who has said "I can't come" is offered another time, or is on the call list: the product's own
// promise, no source.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
beforeEach(() => at.begin())
afterAll(() => at.world.close())

async function cannotCome(changes: Parameters<Conversations['book']>[1] = {}): Promise<Booking> {
  await at.openings()
  const visit = await at.book(`${at.day(10)}T10:00`, changes)
  await at.write("I can't come that day")
  expect((await at.offer(visit))?.state).toBe('open')
  return visit
}

describe('an offer to somebody who cannot come', () => {
  it('ends by STOP: the patient is on the call list', async () => {
    const visit = await cannotCome()
    await at.write('STOP')
    expect(await at.offer(visit)).toBeUndefined()
    expect(await at.reasons(visit)).toContain('cannot-come')
  })

  it('ended by what was no STOP: the patient is still on the call list', async () => {
    const visit = await cannotCome()
    await at.correct(await at.write('please stop texting me'), 'thanks')
    expect(await at.reasons(visit)).toEqual(['cannot-come'])
  })

  it('is made anew by new dates, though the visit itself would be well timed by them', async () => {
    const visit = await cannotCome({ cycle: at.cycling(25) })
    const before = (await at.offer(visit))!.id
    await at.write('my period has not started')
    const after = await at.offer(visit)
    expect(after).toMatchObject({ state: 'open', reason: 'cannot-come' })
    expect(after!.id).not.toBe(before)
    const texts = (await at.deps.store.read.messages.ofBooking(visit.id)).map(({ text }) => text ?? '')
    expect(texts.filter((text) => text.includes('Your visit stays on'))).toEqual([])
  })

  it('is made anew when somebody was quicker', async () => {
    const visit = await cannotCome()
    const { id, choices } = (await at.offer(visit))!
    await at.deps.store.transact((tx) => tx.slots.release(visit.id))
    await at.book(choices[0]!.at.toISOString(), { phone: at.anotherPhone(), name: 'Eve Marsh' })
    await at.write('1')
    const after = await at.offer(visit)
    expect(after).toMatchObject({ state: 'open', reason: 'cannot-come' })
    expect(after!.id).not.toBe(id)
  })
})

describe('a choice that waits for the desk', () => {
  let visit: Booking
  beforeEach(async () => {
    at.clinic = await at.anotherClinic({ movePolicy: 'desk-approves' })
    visit = await cannotCome()
    await at.write('1')
  })

  it('outlives a STOP: the desk can approve it', async () => {
    await at.write('STOP')
    const { id, choices } = (await at.offer(visit))!
    await settleMove(at.deps, id, true, 'desk')
    expect((await at.now(visit)).visitAt).toEqual(choices[0]!.at)
  })

  it('ends with a new offer, and the call to approve it too', async () => {
    await at.write("I can't come on those days either")
    expect((await at.offer(visit))?.state).toBe('open')
    expect(await at.reasons(visit)).not.toContain('approve-move')
  })

  it('is declined: the call says what it was about', async () => {
    await settleMove(at.deps, (await at.offer(visit))!.id, false, 'desk')
    expect(await at.reasons(visit)).toContain('cannot-come')
  })
})

describe('an offer that only the dates had caused', () => {
  it('ends when the dates turn out to be others', async () => {
    await at.openings()
    const visit = await at.book(`${at.day(3)}T10:00`, { cycle: { ...at.cycling(21), usualCycleDays: 32 } })
    const reply = await at.write('my period started today')
    expect(await at.offer(visit)).toMatchObject({ state: 'open', reason: 'no-opening' })
    await at.correct(reply, 'thanks')
    expect(await at.offer(visit)).toBeUndefined()
    expect(await at.reasons(visit)).toEqual([])
  })
})
