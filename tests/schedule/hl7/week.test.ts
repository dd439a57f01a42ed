import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { splitMessages } from '../../../src/adapters/schedule/hl7/mllp.ts'
import type { ScheduleNews } from '../../../src/domain/schedule/schedule-news.ts'
import { FEED, read } from './messages.ts'

// An invented hospital's week, as the demo brings it.
const FILE = new URL('../../../demo/schedule/week.hl7', import.meta.url)
const outcomes = splitMessages(readFileSync(FILE)).map((one) => {
  if ('fault' in one) throw new Error(one.fault)
  return read(one.frame)
})
const news = outcomes.flatMap((outcome) => ('news' in outcome ? outcome.news : []))
/** A cancellation that takes all segments away tells no kind: its key says which visit it is. */
const isOthers = ({ visit }: ScheduleNews) =>
  visit !== null && visit.types.length > 0 && !visit.types.some((type) => type in FEED.types)
const told = (id: string) => news.filter(({ key }) => key?.id === id)

describe('the week of the invented hospital', () => {
  it('is read whole, but for a patient who does not exist', () => {
    expect(outcomes.flatMap((outcome) => ('ack' in outcome ? `${outcome.ack} ${outcome.code}` : []))).toEqual([
      'AR 202',
    ])
    const counts: Record<string, number> = {}
    for (const { event } of news) counts[event] = (counts[event] ?? 0) + 1
    expect(counts).toEqual({
      booked: 11,
      moved: 1,
      cancelled: 1,
      changed: 1,
      patient: 2,
      'patients-merged': 1,
      'times-closed': 1,
      'entered-in-error': 1,
      'no-show': 1,
    })
    expect(news.filter(isOthers).map(({ key }) => key!.id)).toEqual(['F2004', 'F2005'])
  })

  it('has a nightly repeat that says nothing new', () => {
    const [first, repeat] = told('F2001')
    expect({ ...repeat, messageId: '', madeAt: null }).toEqual({ ...first, messageId: '', madeAt: null })
  })

  it('has a move, a cancellation that was quicker than its booking, and a number taken away', () => {
    expect(told('F2002').map(({ visit }) => visit!.startsAt)).toEqual([
      new Date('2026-03-11T12:00:00Z'),
      new Date('2026-03-12T17:00:00Z'),
    ])
    const [cancelled, booked] = told('F2007')
    expect([cancelled!.event, booked!.event]).toEqual(['cancelled', 'booked'])
    expect(cancelled!.madeAt!.getTime()).toBeGreaterThan(booked!.madeAt!.getTime())
    expect(told('F2003').map(({ patient }) => patient!.phones)).toEqual([
      [
        { number: '9025550129', kind: 'mobile' },
        { number: '9025550128', kind: 'fixed' },
      ],
      null,
    ])
  })

  it('leaves doubts where there are some', () => {
    const doubtful = news.filter(({ doubts }) => doubts.length > 0).map(({ key, doubts }) => [key?.id, doubts.length])
    // A status that nobody knows and a year of birth alone.
    expect(doubtful).toEqual([['F2008', 2]])
    expect(news.find(({ event }) => event === 'times-closed')!.times).toEqual([
      {
        from: new Date('2026-03-12T11:00:00Z'),
        to: new Date('2026-03-12T15:00:00Z'),
        place: 'GYN1',
        clinician: 'N17',
      },
    ])
    expect(told('F2006')[0]!.patient).toMatchObject({ name: 'Zoë Île-Verte', lmp: { day: '2026-02-21' } })
  })
})
