import { DateTime } from 'luxon'
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import type { Booking } from '../../src/domain/visits/booking.ts'
import { hearOnPage } from '../../src/flows/replies/hear-on-page.ts'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { Conversations } from './conversations.ts'

// "Which visit do you mean?" and what may come of it: the product's own promise, no source.
// Invented data.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
beforeEach(() => at.begin())
afterAll(() => at.world.close())

const CANNOT_COME = "I can't come that day"
const CREAM = 'I used a cream yesterday'
const STARTED = 'my period started today'

/** Two visits of one patient, or of two patients who share the telephone. */
async function twoVisits(...names: string[]): Promise<[Booking, Booking]> {
  const [first = 'Ada Fenwick', second = first] = names
  return [await at.book(`${at.day(10)}T10:00`, { name: first }), await at.book(`${at.day(12)}T10:20`, { name: second })]
}

/** Two visits that are well timed until the period starts today. */
async function twoThatWillBeSpoilt(): Promise<[Booking, Booking]> {
  const cycle = { ...at.cycling(21), usualCycleDays: 32 }
  const visits = [
    await at.book(`${at.day(3)}T10:00`, { cycle }),
    await at.book(`${at.day(3)}T15:00`, { cycle }),
  ] as const
  for (const visit of visits) expect(await at.reasons(visit)).toEqual([])
  return [...visits]
}

describe('a question that is never answered', () => {
  it('goes on the call list with its words after a day, once', async () => {
    await twoVisits()
    const asked = await at.write(CANNOT_COME)
    expect(asked.done).toBe('asked-which')
    expect(await at.calls()).toEqual([])
    await at.pass(25)
    await at.pass(2)
    expect(await at.words()).toEqual([['unclear-reply', CANNOT_COME]])
  })

  it('is not answered by a number that comes later', async () => {
    const [one] = await twoVisits()
    await at.write(CANNOT_COME)
    await at.pass(25)
    await at.write('1')
    expect(await at.reasons(one)).not.toContain('cannot-come')
  })

  it('goes there at once when something newer asks which visit is meant', async () => {
    const [one] = await twoVisits()
    await at.write(CREAM)
    await at.write('Is a bath ok?')
    expect(await at.words()).toEqual([['unclear-reply', CREAM]])
    await at.write('1')
    expect((await at.now(one)).lapses).toEqual([])
    await at.pass(25)
    expect(await at.words()).toEqual([['unclear-reply', CREAM]])
  })

  it('goes there at once when newer times are offered: a number now means these', async () => {
    await at.openings()
    const [one, two] = await twoVisits()
    await at.write(CANNOT_COME)
    await hearOnPage(at.deps, two.id, {
      reading: { meaning: 'cannot-come', confidence: 1, words: [] },
    })
    expect(await at.words()).toEqual([['unclear-reply', CANNOT_COME]])
    const { choices } = (await at.offer(two))!
    await at.write('1')
    expect((await at.now(two)).visitAt).toEqual(choices[0]!.at)
    expect((await at.now(one)).visitAt).toEqual(one.visitAt)
    expect(await at.reasons(one)).toEqual([])
  })

  it('is settled by the desk that says which visit was meant', async () => {
    const [, two] = await twoVisits()
    const asked = await at.write(CANNOT_COME)
    await at.correct(asked, 'cannot-come', { bookingId: two.id })
    expect(await at.reasons(two)).toEqual(['cannot-come'])
    await at.pass(25)
    expect(await at.reasons()).toEqual(['cannot-come'])
  })
})

describe('a question that is answered', () => {
  it('is about what was written before: those words reach calls and day sheet', async () => {
    const [one] = await twoVisits()
    await at.write(CREAM)
    await at.write('1')
    expect((await at.now(one)).lapses).toEqual([CREAM])
    expect(await at.words()).toEqual([['lapse', CREAM]])
  })

  it('by the day of a visit: the one that stood there when it was asked', async () => {
    const visits = []
    for (const days of [7, 8, 9]) visits.push(await at.book(`${at.day(days)}T10:00`))
    await at.write(CREAM)
    await cancelBooking(at.deps, visits[0]!.id, 'desk')
    const weekday = DateTime.fromISO(at.day(9)).toFormat('cccc')
    await at.write(`the ${weekday} one`)
    const lapses = await Promise.all(visits.map(async (visit) => (await at.now(visit)).lapses))
    expect(lapses).toEqual([[], [], [CREAM]])
  })

  it('by the number of a visit that is off: a person reads both', async () => {
    const [one, two] = await twoVisits()
    await at.write(CREAM)
    await cancelBooking(at.deps, one.id, 'desk')
    await at.write('1')
    expect((await at.now(two)).lapses).toEqual([])
    expect(await at.words()).toEqual([['unclear-reply', CREAM]])
  })

  it('about news that spoils the other visit too: that one gets a call', async () => {
    const [one, two] = await twoThatWillBeSpoilt()
    await at.write(STARTED)
    await at.write('1')
    expect(await at.reasons(one)).toContain('no-opening')
    expect(await at.words(two)).toEqual([['badly-timed', STARTED]])
  })

  it('can be corrected: its effects go, the words before it wait for a person', async () => {
    const [one] = await twoThatWillBeSpoilt()
    const { cycle } = await at.patient(one)
    await at.write(STARTED)
    const number = await at.write('1')
    expect((await at.patient(one)).cycle).not.toEqual(cycle)
    await at.correct(number, 'thanks')
    expect((await at.patient(one)).cycle).toEqual(cycle)
    expect(await at.words()).toEqual([['unclear-reply', STARTED]])
  })

  it('can be corrected to the other visit', async () => {
    const [one, two] = await twoVisits('Ada Fenwick', 'Eve Fenwick')
    await at.write(CREAM)
    const number = await at.write('1')
    await at.correct(number, 'choice', { choice: 2 })
    expect((await at.now(one)).lapses).toEqual([])
    expect((await at.now(two)).lapses).toEqual([CREAM])
    expect(await at.words()).toEqual([['lapse', CREAM]])
  })

  it('whose words a person has read since is left as that person read it', async () => {
    const [one, two] = await twoVisits('Ada Fenwick', 'Eve Fenwick')
    const asked = await at.write(CREAM)
    const number = await at.write('1')
    await at.correct(asked, 'prep-lapse', { bookingId: two.id })
    await at.correct(number, 'thanks')
    expect((await at.now(one)).lapses).toEqual([])
    expect((await at.now(two)).lapses).toEqual([CREAM])
  })

  it('belongs to the clinic that asked', async () => {
    const asking = at.clinic
    await twoVisits()
    await at.write(CREAM)
    const elsewhere = await at.book(`${at.day(14)}T10:00`, { clinic: await at.anotherClinic() })
    await at.pass(1)
    const number = await at.write('1')
    expect(number.clinicId).not.toBe(asking)
    expect((await at.now(elsewhere)).lapses).toEqual([])
  })
})
