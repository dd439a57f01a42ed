import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { latestOffer, USUAL_MOVE_LIMIT, whyKept } from '../../src/domain/visits/move-limit.ts'
import { PURPOSE_NAMES } from '../../src/domain/visits/purpose.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// What is not routine, overdue or due is not deferred: Scottish programme guidance 10.1.1 and 10.4.8, New Zealand NSU
// Screening Matters 57 (2016). How far a routine visit may drift: our own judgement, no source. Invented people.
const PHONE = '+17825550101'
/** Cycle day 3 of a period that is due by then: LMP 2 March and 28 days. */
const BADLY = '2026-04-01T10:00'
const BEFORE = '2026-03-25T10:00'
const AFTER = '2026-04-09T10:00'

describe('a visit that is not routine', () => {
  let world: TestWorld
  beforeEach(async () => {
    world = await TestWorld.create('2026-03-16T13:00:00Z')
  })
  afterEach(() => world.close())

  const offered = async (id: string) =>
    (await world.deps.store.read.offers.pending(id))?.choices.map(({ at }) => at.toISOString().slice(0, 10))
  const callsAbout = async (bookingId: string) =>
    (await world.deps.store.read.followUps.list({ bookingId, open: true, limit: 50 })).map(({ reason }) => reason)

  it.each(PURPOSE_NAMES.filter((purpose) => purpose !== 'routine'))(
    'is never told a later time at the booking: %s',
    async (purpose) => {
      await world.openings(AFTER)
      const { judgement, openings, booking } = await world.book({ visit: BADLY, purpose })
      expect(openings).toEqual([])
      expect(judgement).toMatchObject({ keep: true, why: 'nothing-better' })
      expect(judgement.reason).toContain('Not to be put off')
      expect(await callsAbout(booking.id)).toContain('not-to-be-put-off')
    },
  )

  it('is told an earlier one, and a routine visit either', async () => {
    await world.openings(BEFORE, AFTER)
    const dates = async (purpose: 'routine' | 'symptoms', visit: string, phone: string) =>
      (await world.book({ visit, purpose, phone })).openings.map(({ opening }) => opening.startsAt.getUTCDate())
    expect(await dates('symptoms', BADLY, '782 555 0111')).toEqual([25])
    expect(await dates('routine', '2026-04-01T11:00', '782 555 0112')).toEqual([25, 9])
  })

  it('stays when the period starts, and the clinician is told', async () => {
    await world.openings(AFTER)
    const { booking } = await world.book({ visit: BADLY, purpose: 'earlier-result' })
    await world.passUntil('2026-03-29T15:00:00Z', 240)
    await world.reply(PHONE, 'my period started today')
    expect(await offered(booking.id)).toBeUndefined()
    expect(world.textsTo(PHONE).at(-1)).toContain('Your visit stays')
    expect(await callsAbout(booking.id)).toContain('not-to-be-put-off')
  })

  it('is not put off for a lapse, though the clinic offers other times after one', async () => {
    await world.putClinic({ lapsePolicy: 'offer' })
    await world.openings(AFTER)
    const { booking } = await world.book({ visit: BADLY, purpose: 'repeat-specimen' })
    await world.reply(PHONE, 'I used a cream last night')
    expect(await offered(booking.id)).toBeUndefined()
    expect(await callsAbout(booking.id)).toContain('lapse')
  })

  it('that the patient cannot keep is for a person, at once', async () => {
    await world.openings(AFTER)
    const { booking } = await world.book({ visit: BADLY, purpose: 'after-treatment' })
    await world.reply(PHONE, "I can't come that day")
    expect(await offered(booking.id)).toBeUndefined()
    expect(await callsAbout(booking.id)).toContain('nearest-time')
  })

  it('is what a routine one becomes on the day by which it is due, and may be corrected', async () => {
    await world.openings(AFTER, '2026-04-07T10:00')
    const due = await world.book({ visit: BADLY, dueBy: '2026-04-08' })
    expect(due.openings.map(({ opening }) => opening.startsAt.getUTCDate())).toEqual([7])
    const { openings } = await amendBooking(world.deps, due.booking.id, { dueBy: '2026-03-31', by: 'desk' })
    expect(openings).toEqual([])
    const later = await amendBooking(world.deps, due.booking.id, { dueBy: null, by: 'desk' })
    expect(later.openings.map(({ opening }) => opening.startsAt.getUTCDate())).toContain(9)
  })
})

describe('how far a visit may drift by text', () => {
  const visit = {
    visitAt: new Date('2026-04-01T13:00:00Z'),
    firstVisitAt: new Date('2026-04-01T13:00:00Z'),
    ...({ moves: 0, purpose: 'routine', dueBy: null, zone: 'America/Halifax' } as const),
  }

  it('is the clinic’s limit of moves and weeks, and what it is due by', () => {
    const day = (changes: Partial<Parameters<typeof latestOffer>[0]>, limit = USUAL_MOVE_LIMIT) =>
      latestOffer({ ...visit, ...changes }, limit)
        ?.toISOString()
        .slice(0, 10) ?? null
    expect(day({})).toBe('2026-05-13')
    expect(day({ moves: 2 })).toBeNull()
    expect(day({ moves: 2 }, { moves: 3, weeks: 1 })).toBe('2026-04-08')
    expect(day({ dueBy: '2026-04-20' })).toBe('2026-04-21')
    expect(day({ purpose: 'symptoms' })).toBe('2026-04-01')
    expect(whyKept({ ...visit, dueBy: '2026-04-01' })).toBe('due')
  })
})
