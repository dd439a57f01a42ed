import type { ScheduleNews } from './schedule-news.ts'
import { keyOf } from './schedule-news.ts'
import { nameOf } from './reconcile-patient.ts'
import { refusedAs, seenAs } from './reconcile.ts'
import { seriesOf } from './our-view.ts'

/** What must be known for some news to be reconciled. */
export interface Needs {
  /** Visits by key. */
  visits: readonly string[]
  /** Series whose end is told, or of which a visit is. */
  series: readonly string[]
  /** Every visit of these series. */
  wholeSeries: readonly string[]
  patients: readonly string[]
  /** Every visit of these patients, however they were called. */
  wholePatients: readonly string[]
  /** Every visit that is booked here within these times. */
  within: readonly { from: Date; to: Date }[]
  messages: readonly string[]
}

/** What a look at these visits needs. */
export function needsOfVisits(visits: readonly string[]): Needs {
  const nothing = { wholeSeries: [], patients: [], wholePatients: [], within: [], messages: [] }
  return { ...nothing, visits, series: visits.map(seriesOf) }
}

/** What these pieces of news need; none of it need exist. */
export function needsOf(news: readonly ScheduleNews[]): Needs {
  const keys = news.flatMap(({ key }) => (key ? [keyOf(key)] : []))
  const patients = news.flatMap(({ patient }) => patient?.ids.map(nameOf) ?? [])
  const merged = news.flatMap(({ mergedIds = [] }) => mergedIds.map(nameOf))
  const aboutPeople = news.filter(({ event }) => event === 'patient' || event === 'patients-merged')
  const ended = news.filter(({ event }) => event === 'series-ended')
  return {
    visits: keys,
    series: keys.map(seriesOf),
    wholeSeries: ended.flatMap(({ key }) => (key ? [seriesOf(keyOf(key))] : [])),
    patients: [...patients, ...merged],
    wholePatients: [...aboutPeople.flatMap(({ patient }) => patient?.ids.map(nameOf) ?? []), ...merged],
    within: news.flatMap(({ times = [] }) => times.map(({ from, to }) => ({ from, to }))),
    messages: news.flatMap((one) => {
      const seen = seenAs(one)
      return seen === '' ? [] : [seen, refusedAs(seen)]
    }),
  }
}
