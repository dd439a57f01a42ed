import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import type { Booking } from '../../src/domain/visits/booking.ts'
import { BECAUSE, type Because, type OutcomeKind } from '../../src/domain/visits/outcome.ts'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { recordOutcome } from '../../src/flows/visits/record-outcome.ts'
import { Conversations } from '../replies/conversations.ts'

// Where purposes, outcomes, alarms and needs meet other visits, offers, corrections and calls. What must hold is common
// practice, no source, unless said. Invented people.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
afterAll(() => at.world.close())
beforeEach(() => at.begin())

const say = (text: string) => at.world.reply(at.phone, text)
const lastText = () => at.world.textsTo(at.phone).at(-1)
const calls = async ({ id }: Pick<Booking, 'id'>) => {
  const open = await at.deps.store.read.followUps.list({ bookingId: id, open: true, limit: 50 })
  return open.map(({ reason }) => reason)
}
const now = async ({ id }: Pick<Booking, 'id'>) => (await at.deps.store.read.bookings.get(id))!
const offer = ({ id }: Pick<Booking, 'id'>) => at.deps.store.read.offers.pending(id)
const ended = ({ id }: Pick<Booking, 'id'>, kind: OutcomeKind, because: Because | null = null) =>
  recordOutcome(at.deps, id, { kind, because, by: 'clinician' })

describe('a pregnancy that is on record', () => {
  it('makes bleeding an emergency, whichever way it is recorded, also on the day before', async () => {
    await at.book(`${at.day(6)}T16:00`, { cycle: { status: 'pregnant' } })
    await say("I'm bleeding")
    expect(lastText()).toMatch(/call us now/)
    await at.begin()
    const visit = await at.book(`${at.day(1)}T16:00`, { purpose: 'pregnancy', cycle: { status: 'unknown' } })
    await say('still bleeding')
    expect(lastText()).toMatch(/call us now/)
    expect(await calls(visit)).toContain('alarm')
  })
})

describe('bleeding on the day before', () => {
  it('that is heavier than usual is called about as soon as any other', async () => {
    const visit = await at.book(`${at.day(1)}T16:00`, { cycle: at.cycling(26) })
    await say('my period started today and it is quite heavy with clots')
    expect(lastText()).toMatch(/call us at/)
    expect(await calls(visit)).toEqual(expect.arrayContaining(['unexpected-bleeding', 'bleeding-at-visit']))
  })

  it('comes before a later visit of the same patient', async () => {
    const near = await at.book(`${at.day(1)}T16:00`, { cycle: at.cycling(26) })
    await at.book(`${at.day(20)}T16:00`, { cycle: at.cycling(26) })
    await say('still bleeding')
    expect(await calls(near)).toContain('bleeding-at-visit')
    expect(lastText()).toMatch(/do come/)
  })

  it('is called about at once where it is asked which of two patients is meant', async () => {
    const near = await at.book(`${at.day(0)}T16:00`, { name: 'Ada Fenwick', cycle: at.cycling(26) })
    await at.book(`${at.day(12)}T16:00`, { name: 'Bea Fenwick', cycle: at.cycling(26) })
    await say('my period started today')
    expect(lastText()).toContain('Which visit do you mean?')
    expect(await calls(near)).toContain('bleeding-at-visit')
  })

  it('is also what words say of which nothing else could be made', async () => {
    const visit = await at.book(`${at.day(1)}T16:00`, { cycle: at.cycling(26) })
    await say('a bit of blood this morning, do I come?')
    expect(lastText()).toMatch(/do come/)
    expect(await calls(visit)).toContain('bleeding-at-visit')
  })

  it('loses nothing that stands beside it', async () => {
    const visit = await at.book(`${at.day(1)}T16:00`, { cycle: at.cycling(26) })
    await say('still bleeding. I will be there. I used a cream last night.')
    expect((await now(visit)).confirmedAt).not.toBeNull()
    expect(await calls(visit)).toEqual(expect.arrayContaining(['bleeding-at-visit', 'lapse']))
  })
})

describe('a visit that has ended', () => {
  const today = () => at.book(`${at.day(0)}T16:00`, { cycle: at.cycling(26) })

  it('is not talked about any more, nor sent anything', async () => {
    const visit = await today()
    await at.world.passUntil(new Date(visit.visitAt.getTime() - 3_600_000).toISOString(), 30)
    await ended(visit, 'collected')
    const before = at.world.textsTo(at.phone).length
    await at.pass(3)
    expect(at.world.textsTo(at.phone)).toHaveLength(before)
    await say("I can't come that day")
    expect(await offer(visit)).toBeUndefined()
  })

  it('ends its offer, and a new time begins anew', async () => {
    await at.openings()
    const visit = await today()
    await say("I can't come that day")
    expect(await offer(visit)).toBeDefined()
    await ended(visit, 'absent')
    expect(await offer(visit)).toBeUndefined()
    expect(await calls(visit)).toContain('no-specimen')
    await at.amend(visit, { visit: `${at.day(7)}T10:00` })
    expect((await now(visit)).outcome).toBeNull()
    expect(await calls(visit)).not.toContain('no-specimen')
  })

  it('is not called about when another visit tells of new dates', async () => {
    const over = await at.book(`${at.day(0)}T20:00`, { cycle: at.cycling(12) })
    const other = await at.book(`${at.day(20)}T16:00`, { cycle: at.cycling(12) })
    await ended(over, 'collected')
    await at.amend(other, { cycle: at.cycling(2) })
    expect(await calls(over)).toEqual([])
  })

  it('that has begun is not the one to come to, when the next is tomorrow', async () => {
    const begun = await at.book(`${at.day(0)}T11:00`, { cycle: at.cycling(26) })
    await at.book(`${at.day(1)}T16:00`, { cycle: at.cycling(26) })
    await at.world.passUntil(new Date(begun.visitAt.getTime() + 3_600_000).toISOString(), 30)
    await say('heavy period as usual')
    expect(lastText()).not.toMatch(/do come on/)
    expect(await calls(begun)).toContain('unexpected-bleeding')
  })

  it('recorded otherwise does not reopen what a person has settled', async () => {
    const visit = await today()
    await ended(visit, 'not-collected', BECAUSE[0])
    const [call] = await at.deps.store.read.followUps.list({ bookingId: visit.id, open: true, limit: 5 })
    await at.deps.store.transact((tx) => tx.followUps.close(call!.id, 'desk', 'another visit agreed', new Date()))
    await ended(visit, 'absent')
    expect(await calls(visit)).toEqual([])
  })
})

describe('a purpose that is corrected', () => {
  it('ends an offer of later times, and none is taken any more', async () => {
    await at.openings()
    const visit = await at.book(`${at.day(6)}T16:00`)
    await say("I can't come that day")
    await at.amend(visit, { purpose: 'symptoms' })
    expect(await offer(visit)).toBeUndefined()
    expect(await calls(visit)).toContain('nearest-time')
    await say('1')
    expect((await now(visit)).visitAt).toEqual(visit.visitAt)
  })

  it('holds against a choice that waits for the desk', async () => {
    await at.world.putClinic({ movePolicy: 'desk-approves' }, at.clinic)
    await at.openings()
    const visit = await at.book(`${at.day(6)}T16:00`)
    await say("I can't come that day")
    await say('1')
    const waiting = (await offer(visit))!
    await at.amend(visit, { purpose: 'symptoms' })
    await expect(settleMove(at.deps, waiting.id, true, 'desk')).rejects.toThrow()
    expect((await now(visit)).visitAt).toEqual(visit.visitAt)
  })

  it('leaves one call about the time, not two that contradict each other', async () => {
    const visit = await at.book(`${at.day(5)}T16:00`, { cycle: at.cycling(24) })
    const about = async () => (await calls(visit)).filter((reason) => /badly-timed|put-off/.test(reason))
    expect(await about()).toEqual(['badly-timed'])
    await at.amend(visit, { purpose: 'symptoms' })
    expect(await about()).toEqual(['not-to-be-put-off'])
    await at.amend(visit, { purpose: 'routine' })
    expect(await about()).toEqual(['badly-timed'])
  })

  it('and a due date that leaves no opening is a call for the nearest time', async () => {
    await at.openings()
    const visit = await at.book(`${at.day(6)}T16:00`, { dueBy: at.day(8) })
    await say("I can't come that day")
    const [call] = await at.deps.store.read.followUps.list({ bookingId: visit.id, open: true, limit: 5 })
    expect(call!.reason).toBe('nearest-time')
    for (const { to } of call!.detail.goodDates as { to: string }[]) expect(to <= at.day(8)).toBe(true)
  })
})

describe('what a clinician or the desk is to know', () => {
  it('survives that something else leads: a need beside an alarm, an absence beside a pregnancy', async () => {
    const visit = await at.book(`${at.day(6)}T16:00`)
    await say("I'm pregnant and I need an interpreter")
    expect((await now(visit)).needs).toHaveLength(1)
    await say("I'm pregnant so I can't come on Friday")
    expect(await calls(visit)).toEqual(expect.arrayContaining(['needs', 'clinician', 'cannot-come']))
  })

  it('is kept at the nearer of two visits of one patient, without asking which', async () => {
    const near = await at.book(`${at.day(6)}T16:00`)
    await at.book(`${at.day(30)}T16:00`)
    await say('I need an interpreter')
    expect((await now(near)).needs).toEqual(['I need an interpreter'])
  })

  it('goes with the patient to the next visit', async () => {
    const visit = await at.book(`${at.day(6)}T16:00`)
    await say('I need an interpreter')
    await cancelBooking(at.deps, visit.id, 'desk')
    expect((await at.book(`${at.day(20)}T16:00`)).needs).toEqual(['I need an interpreter'])
  })

  it('stays when only the day of a reply is corrected', async () => {
    const visit = await at.book(`${at.day(12)}T16:00`, { cycle: at.cycling(26) })
    const reply = await at.write('My period started today. I need an interpreter')
    await at.correct(reply, 'period-started', { date: at.day(-1) })
    expect((await now(visit)).needs).toHaveLength(1)
    expect(await calls(visit)).toContain('needs')
  })

  it('is no request to keep a visit that there is none of', async () => {
    const visit = await at.book(`${at.day(6)}T16:00`)
    await cancelBooking(at.deps, visit.id, 'desk')
    await say("I'm pregnant")
    expect(lastText()).not.toContain('keep your visit')
  })

  it('an assault of last night is an alarm, though the patient asks for a woman', async () => {
    await at.book(`${at.day(6)}T16:00`)
    await say('I was raped last night, can a woman doctor see me')
    expect(lastText()).toMatch(/call us now/)
  })
})
