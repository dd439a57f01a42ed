import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { TestWorld } from '../harness/world.ts'

// Replies that are more than a period that began, and how a clinic would want them handled. Bleeds over 8 days: FIGO
// 2018 System 1 (Munro, Critchley, Fraser, IJGO 143:393); bleeding after twelve months without, or with no periods
// expected, is for a clinician: common practice, no source. Invented people.
let world: TestWorld
let people = 10
beforeAll(async () => {
  world = await TestWorld.create('2026-03-16T14:00:00Z')
  await world.openings('2026-03-30T09:00', '2026-03-31T09:00', '2026-04-01T09:00', '2026-04-02T09:00')
})
afterAll(() => world.close())

const REGULAR: CycleHistory = { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28 }

async function after(text: string, cycle: CycleHistory) {
  const phone = `782 555 01${++people}`
  const { booking } = await world.book({
    name: `Nobody ${people}`,
    phone,
    visit: '2026-03-26T10:00',
    cycle,
    clinician: `list ${people}`,
  })
  const e164 = `+1${phone.replaceAll(' ', '')}`
  await world.reply(e164, text)
  const { read } = world.deps.store
  return {
    visit: (await read.bookings.get(booking.id))!,
    offer: await read.offers.pending(booking.id),
    calls: (await read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })).map(({ reason }) => reason),
    optedOut: await read.optOuts.has(e164),
    said: world.textsTo(e164).at(-1)!,
    booking,
  }
}

const CASES: [text: string, cycle: CycleHistory, reason: FollowUpReason][] = [
  ['been bleeding for 20 days', { status: 'unknown' }, 'unexpected-bleeding'],
  ['on my period for 18 days', REGULAR, 'unexpected-bleeding'],
  ['still bleeding after 12 days', REGULAR, 'unexpected-bleeding'],
  ['started bleeding, I am 62', { status: 'unknown' }, 'unexpected-bleeding'],
  ['my period started yesterday', { ...REGULAR, age: 57 }, 'unexpected-bleeding'],
  ['my period started today', { status: 'no-periods' }, 'unexpected-bleeding'],
  ['im 58 and bleeding again', { status: 'no-periods' }, 'unexpected-bleeding'],
  ['my period started yesterday really heavy soaking through everything', REGULAR, 'unexpected-bleeding'],
  ["I don't have a cervix", { status: 'no-periods' }, 'clinician'],
  ["I'm a man, please don't call me she", { status: 'no-periods' }, 'clinician'],
  ['I used my prescribed estrogen cream last night', { status: 'no-periods' }, 'clinician'],
  ['I stopped my blood thinner like you said', REGULAR, 'clinician'],
]

describe('a reply that a clinician should hear', () => {
  it.each(CASES)('"%s"', async (text, cycle, reason) => {
    const { visit, offer, calls, optedOut, booking } = await after(text, cycle)
    expect(calls).toContain(reason)
    expect({ at: visit.visitAt, state: visit.state, lapses: visit.lapses }).toEqual({
      at: booking.visitAt,
      state: 'booked',
      lapses: [],
    })
    expect([offer, optedOut]).toEqual([undefined, false])
  })

  it('says of prescribed medicine that it goes on', async () => {
    const { said } = await after('I used my prescribed estrogen cream last night', { status: 'no-periods' })
    expect(said).toMatch(/keep (taking|using)/i)
  })

  it('an ordinary start stays one', async () => {
    const { calls, visit } = await after('my period started today', { ...REGULAR, lmp: '2026-02-16' })
    expect(calls).not.toContain('unexpected-bleeding')
    expect((await world.deps.store.read.patients.get(visit.patientId))!.cycle.lmp).toBe('2026-03-16')
  })
})
