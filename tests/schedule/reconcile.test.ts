import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { ourView } from '../../src/domain/schedule/our-view.ts'
import type { Known } from '../../src/domain/schedule/known.ts'
import { keyOf, type ScheduleNews } from '../../src/domain/schedule/schedule-news.ts'
import { FEED, newsAt, take } from './example-feed.ts'

/** How every visit stands, and of whom. */
const stateOf = ({ known }: { known: Known }) =>
  Object.fromEntries([...known.visits.keys()].sort().map((key) => [key, ourView(known, key, FEED)]))
const does = (news: readonly ScheduleNews[], feed = FEED) => take(news, feed).outcomes.map(({ does: what }) => what)
const LATER = { startsAt: new Date('2026-03-23T13:30:00Z') }

// What a receiver does at each event: HL7 v2.5.1 chapter 10, table 0003; rules of practice beside it.
describe('news of a schedule', () => {
  it('books, says again nothing, moves, and cancels', () => {
    const news = [
      newsAt(0, 'booked'),
      newsAt(1, 'booked'),
      newsAt(2, 'moved', { visit: LATER }),
      newsAt(3, 'cancelled', { visit: LATER }),
      newsAt(4, 'cancelled', { visit: LATER }),
    ]
    expect(does(news)).toEqual(['book', 'nothing', 'move', 'cancel', 'nothing'])
  })

  it('is taken once, however often it is sent', () => {
    const first = newsAt(0, 'booked')
    const { outcomes } = take([first, { ...first, madeAt: new Date(first.madeAt!.getTime() + 1) }])
    expect(outcomes[1]).toMatchObject({ does: 'nothing', why: 'The same message came before.' })
  })

  it('that is a change by name is a move where the time differs', () =>
    expect(does([newsAt(0, 'booked'), newsAt(1, 'changed', { visit: LATER })])).toEqual(['book', 'move']))

  it('does not bring back what was called off before it came', () => {
    const { outcomes, known } = take([newsAt(5, 'cancelled', { visit: null, patient: null }), newsAt(0, 'booked')])
    expect(outcomes.map(({ does: what }) => what)).toEqual(['nothing', 'nothing'])
    expect(ourView(known, keyOf(newsAt(0, 'booked').key!), FEED)).toMatchObject({ is: 'cancelled' })
  })

  it('that is older than what is known changes nothing', () =>
    expect(take([newsAt(5, 'moved', { visit: LATER }), newsAt(0, 'booked')]).outcomes[1]).toMatchObject({
      ...{ does: 'nothing', why: 'Older than what is known.' },
      visit: { startsAt: LATER.startsAt },
    }))

  it('of a move whose booking never came books, and says so', () =>
    expect(take([newsAt(0, 'moved')]).outcomes[0]).toMatchObject({ does: 'book', why: /never came/ }))

  it('that books again what was called off is told to the desk', () =>
    expect(take([newsAt(0, 'booked'), newsAt(1, 'cancelled'), newsAt(2, 'booked')]).outcomes[2]).toMatchObject({
      ...{ does: 'book', why: expect.stringContaining('tell the desk') },
    }))

  it('tells a mistake from a cancellation, and a no-show from one that is still to come', () => {
    const over = { startsAt: new Date('2026-03-09T12:30:00Z') }
    const missed = [newsAt(-60, 'booked', { visit: over }), newsAt(60, 'no-show', { visit: over })]
    expect(take(missed.slice(0, 1)).outcomes[0]!.does).toBe('book')
    expect(take([newsAt(0, 'booked'), newsAt(1, 'entered-in-error')]).outcomes[1]).toMatchObject({
      ...{ does: 'cancel', why: expect.stringContaining('mistake') },
    })
    expect(does([newsAt(0, 'booked'), newsAt(1, 'no-show')])).toEqual(['book', 'hold'])
  })

  it('of a kind that does not concern us is let go, and of one that no longer does goes to a person', () => {
    expect(does([newsAt(0, 'booked', { visit: { types: ['XRAY'] } })])).toEqual(['nothing'])
    expect(does([newsAt(0, 'booked'), newsAt(1, 'changed', { visit: { types: ['XRAY'] } })])).toEqual(['book', 'hold'])
  })

  it('with a place that nobody mapped goes to a person on both sides', () =>
    expect(take([newsAt(0, 'booked', { visit: { places: ['NEW7'] } })]).outcomes[0]).toMatchObject({
      ...{ does: 'hold', ack: 'AE', why: expect.stringContaining('"NEW7"') },
    }))

  it('that leaves a field out leaves it as it was; a number that was taken away goes to a person', () => {
    const bare = { ids: newsAt(0, 'booked').patient!.ids }
    expect(does([newsAt(0, 'booked'), newsAt(1, 'booked', { patient: bare })])).toEqual(['book', 'nothing'])
    const without = { ...bare, phones: null }
    expect(take([newsAt(0, 'booked'), newsAt(1, 'booked', { patient: without })]).outcomes[1]).toMatchObject({
      ...{ does: 'hold', why: expect.stringContaining('The visit stays as it was') },
    })
  })

  it('that calls off what waits for a person calls off what is booked here all the same', () => {
    const without = { ids: newsAt(0, 'booked').patient!.ids, phones: null }
    const news = [newsAt(0, 'booked'), newsAt(1, 'booked', { patient: without }), newsAt(2, 'cancelled')]
    expect(does(news)).toEqual(['book', 'hold', 'cancel'])
  })

  it('keeps the visits of a series apart, and ends the rest of it', () => {
    const nth = (occurrence: string, day: string, minute: number) =>
      newsAt(minute, 'booked', {
        key: { id: '7001', namespace: 'SKERRY', occurrence },
        visit: { startsAt: new Date(`2026-03-${day}T13:30:00Z`) },
      })
    const end = newsAt(9, 'series-ended', { visit: { startsAt: new Date('2026-03-18T00:00:00Z') }, patient: null })
    const all = [nth('1', '16', 0), nth('2', '23', 1), nth('3', '30', 2), end]
    expect(does(all)).toEqual(['book', 'book', 'book', 'cancel'])
    const states = Object.values(stateOf(take(all))).map((view) => view?.is)
    expect(states).toEqual(['booked', 'cancelled', 'cancelled'])
    // One that came late is ended as well, one that was told later is not.
    expect(does([end, nth('4', '24', 3), nth('5', '25', 12)])).toEqual(['nothing', 'nothing', 'book'])
  })

  it('that closes times counts the visits within them, of that clinic and clinician alone', () => {
    const closed = (clinician: string, hour: string, place = 'GYN1') =>
      newsAt(1, 'times-closed', {
        ...{ key: null, visit: null, patient: null, messageId: '' },
        times: [{ from: new Date(`2026-03-20T${hour}:00Z`), to: new Date('2026-03-20T16:00:00Z'), place, clinician }],
      })
    const why = (news: ScheduleNews) => take([newsAt(0, 'booked'), news]).outcomes[1]!.why
    expect(why(closed('1001', '13:00'))).toBe('1 closed. Booked within: 1. A person must move them.')
    expect(why(closed('', '13:30'))).toBe('1 closed. Booked within: 1. A person must move them.')
    for (const other of [closed('1002', '13:00'), closed('', '13:31'), closed('', '13:00', 'RDG')])
      expect(why(other)).toBe('1 closed.')
    expect(why(closed('', '13:00', 'XRAY9'))).toBe('Times of no clinic of ours.')
  })

  it('merges two records of one patient, in either order', () => {
    const old = { value: '000999', authority: 'SKERRY', type: 'MR' }
    const merge = newsAt(5, 'patients-merged', { key: null, visit: null, mergedIds: [old] })
    const other = newsAt(1, 'booked', {
      key: { id: '7002', namespace: 'SKERRY', occurrence: '' },
      patient: { ...newsAt(0, 'booked').patient!, ids: [old], name: 'Ada Fenwik' },
    })
    expect(does([newsAt(0, 'booked'), other, merge])).toEqual(['book', 'book', 'merge'])
    expect(stateOf(take([newsAt(0, 'booked'), other, merge]))).toEqual(
      stateOf(take([merge, other, newsAt(0, 'booked')])),
    )
  })

  it('of a death ends what is sent, and books nothing new without a person', () => {
    const died = newsAt(1, 'patient', {
      key: null,
      visit: null,
      patient: { ...newsAt(0, 'booked').patient!, died: true },
    })
    expect(take([newsAt(0, 'booked'), died]).outcomes[1]).toMatchObject({ does: 'amend', why: /has died/ })
    const next = newsAt(2, 'booked', { key: { id: '7009', namespace: 'SKERRY', occurrence: '' } })
    expect(does([newsAt(0, 'booked'), died, next])).toEqual(['book', 'amend', 'hold'])
  })

  it('of who the patient is books what waited for it', () => {
    const { ids } = newsAt(0, 'booked').patient!
    const who = newsAt(1, 'patient', { key: null, visit: null })
    const { outcomes, known } = take([newsAt(0, 'booked', { patient: { ids } }), who])
    expect(outcomes.map(({ does: what }) => what)).toEqual(['hold', 'book'])
    expect(known.applied.size).toBe(1)
  })

  it('of people who are none of ours is not kept', () => {
    const stranger = newsAt(0, 'patient', { key: null, visit: null })
    expect(take([stranger]).known.patients.size).toBe(0)
  })
})

describe('a day of messages', () => {
  const EVENTS = ['booked', 'changed', 'moved', 'cancelled', 'entered-in-error', 'arrived', 'no-show'] as const
  const one = fc.record({
    event: fc.constantFrom(...EVENTS),
    minute: fc.integer({ min: 0, max: 400 }),
    id: fc.constantFrom('7001', '7002', '7003'),
    day: fc.integer({ min: 10, max: 28 }),
    place: fc.constantFrom('GYN1', 'RDG', 'NEW7', undefined),
    type: fc.constantFrom('PAP', 'HPVC', 'XRAY', undefined),
    phone: fc.constantFrom('782 555 0101', '782 555 0102', null, undefined),
  })
  const toNews = (
    { event, minute, id, day, place, type, phone }: typeof one extends fc.Arbitrary<infer T> ? T : never,
    n: number,
  ) =>
    newsAt(minute, event, {
      ...{ messageId: `M${n}`, key: { id, namespace: 'SKERRY', occurrence: '' } },
      visit: {
        startsAt: new Date(`2026-03-${day}T13:30:00Z`),
        ...{ places: place ? [place] : [], types: type ? [type] : [] },
      },
      patient: {
        ids: [{ value: id, authority: 'SKERRY', type: 'MR' }],
        name: 'Ada Fenwick',
        phones: phone === undefined ? undefined : phone && [{ number: phone, kind: 'mobile' }],
      },
    })

  it('ends in the same state in whatever order, and however often, it comes', () =>
    fc.assert(
      fc.property(
        fc
          .array(one, { maxLength: 14 })
          .chain((day) =>
            fc.tuple(
              fc.constant(day.map(toNews)),
              fc.shuffledSubarray(day.map(toNews), { minLength: day.length }),
              fc.shuffledSubarray(day.map(toNews)),
            ),
          ),
        ([news, shuffled, again]) => {
          const end = stateOf(take(news))
          expect(stateOf(take(shuffled))).toEqual(end)
          expect(stateOf(take([...shuffled, ...again]))).toEqual(end)
          const { known } = take(shuffled)
          for (const [key, view] of Object.entries(end)) {
            // What waits for a person stays as it was, which hangs on what came first.
            if (view?.is === 'booked') expect(known.applied.get(key)).toEqual(view.visit)
            if (view?.is === 'cancelled' || view?.is === 'in-error') expect(known.applied.has(key)).toBe(false)
          }
        },
      ),
      { numRuns: 500 },
    ))

  it('sent again unchanged does nothing at all', () =>
    fc.assert(
      fc.property(fc.array(one, { maxLength: 10 }), (day) => {
        const news = day.map(toNews)
        const twice = [...news, ...news.map((each) => ({ ...each, messageId: `${each.messageId}-night` }))]
        const again = take(twice).outcomes.slice(news.length)
        expect(again.filter(({ does: what }) => what !== 'nothing')).toEqual([])
      }),
    ))
})
