import { clinicianOf, clinicOf } from './entry.ts'
import type { Ack, Feed } from './feed.ts'
import { NOTHING_KEPT, overlaid, type Kept, type Known, type TheirState, type TheirVisit } from './known.ts'
import type { Outcome, Reconciled } from './outcome.ts'
import { reconcilePatient, keepPatient, patientIdOf, reconcileMerge } from './reconcile-patient.ts'
import { changedWords, isElsewhere, isSame, movedWords } from './differences.ts'
import { ourView, seriesOf, type OurView } from './our-view.ts'
import type { OurVisit } from './our-visit.ts'
import { compareStamps, tell, type Stamp } from './register.ts'
import { keyOf, type ScheduleEvent, type ScheduleNews } from './schedule-news.ts'

/** What each event says of the visit itself; the others say nothing of it. */
const STATES: Partial<Record<ScheduleEvent, TheirState>> = {
  booked: 'booked',
  changed: 'booked',
  moved: 'booked',
  cancelled: 'cancelled',
  'entered-in-error': 'in-error',
  'no-show': 'no-show',
  arrived: 'arrived',
}

/**
 * Takes a piece of news into what is known, and says what follows. News in any order, and any number of times, comes
 * to the same: only the last of what was told of each field counts, and what follows is the difference it makes.
 * @param now what lies before it is over
 */
export function reconcile(known: Known, news: ScheduleNews, feed: Feed, now: Date): Reconciled {
  const seen = seenAs(news)
  if (seen !== '' && known.seen.has(seen)) {
    const again = nothing('The same message came before.')
    return { outcome: known.seen.has(refusedAs(seen)) ? { ...again, ack: 'AE' } : again, kept: NOTHING_KEPT }
  }
  const by: Stamp = {
    ...{ sequence: news.sequence, madeAt: news.madeAt?.getTime() ?? null },
    ...{ messageId: news.messageId, arrival: known.arrivals },
  }
  const { outcome, kept } = byKind(known, news, feed, { now, by })
  const isRefused = 'ack' in outcome && outcome.ack === 'AE'
  return { outcome, kept: { ...kept, seen: seen === '' ? [] : isRefused ? [seen, refusedAs(seen)] : [seen] } }
}

/**
 * Looks again at a visit of which nobody told anything new: where the description says more than it did, or time has
 * passed, what waited for a person can be done. What is still for a person is `hold` again.
 */
export function reconsider(known: Known, key: string, feed: Feed, now: Date): Reconciled {
  const after = ourView(known, key, feed)
  const stands = { before: null, after, applied: known.applied.get(key) }
  const outcome = difference(stands, { now, isOlder: false, event: 'changed' })
  return { outcome, kept: { ...NOTHING_KEPT, applied: appliedBy(key, outcome) } }
}

/** By what a message is known again; empty = it has no id. */
export function seenAs({ sender, messageId, key }: ScheduleNews): string {
  return messageId === '' ? '' : `${sender} ${messageId} ${key ? keyOf(key) : ''}`
}

/** By what it is known again that a message was answered with `AE`: when it comes again, so it is again. */
export const refusedAs = (seen: string): string => `${seen} AE`

interface Moment {
  now: Date
  by: Stamp
}

function byKind(known: Known, news: ScheduleNews, feed: Feed, moment: Moment): Reconciled {
  const { event, key } = news
  if (event === 'times-opened' || event === 'times-closed')
    return { outcome: diary(known, news, feed, event === 'times-opened'), kept: NOTHING_KEPT }
  if (event === 'patients-merged') return reconcileMerge(known, news, moment.by)
  if (event === 'patient') return reconcilePatient(known, news, feed, moment)
  if (!key) return { outcome: hold(null, 'No id of the appointment was told.', 'AE'), kept: NOTHING_KEPT }
  return event === 'series-ended'
    ? endSeries(known, news, feed, { ...moment, key: keyOf(key) })
    : reconcileVisit(known, news, feed, { ...moment, key: keyOf(key) })
}

/** Times of clinics of ours; visits that are booked within what is closed are for a person to move. */
function diary(known: Known, { times = [] }: ScheduleNews, feed: Feed, opens: boolean): Outcome {
  const ours = times.flatMap((each) => {
    const clinic = clinicOf([each.place], feed)
    return clinic === undefined ? [] : [{ ...each, clinic }]
  })
  if (ours.length === 0) return nothing('Times of no clinic of ours.')
  const within = ({ from, to, clinic, clinician }: (typeof ours)[number], visit: OurVisit) =>
    visit.clinic === clinic &&
    (clinician === '' || visit.clinician === clinicianOf(clinician, feed)) &&
    visit.startsAt >= from &&
    visit.startsAt < to
  const met = opens ? [] : [...known.applied.values()].filter((visit) => ours.some((each) => within(each, visit)))
  const call = met.length > 0 ? ` Booked within: ${met.length}. A person must move them.` : ''
  return { does: 'times', opens, times: ours, why: `${ours.length} ${opens ? 'opened' : 'closed'}.${call}` }
}

function reconcileVisit(known: Known, news: ScheduleNews, feed: Feed, at: Moment & { key: string }): Reconciled {
  const { key, by } = at
  const patient = news.patient && patientIdOf(known, news.patient, key)
  const before = ourView(known, key, feed)
  const told = { ...toldOf(news), ...(patient && { patient }) }
  const row = tell(known.visits.get(key) ?? {}, told, by)
  const patients = news.patient && patient ? [keepPatient(known, patient, news.patient, by)] : []
  const kept: Kept = { ...NOTHING_KEPT, visits: [[key, row]], patients }
  const after = ourView(overlaid(known, kept), key, feed)
  const isOlder = row.state !== undefined && compareStamps(by, row.state.by) < 0
  const outcome = difference(
    { before, after, applied: known.applied.get(key) },
    { now: at.now, isOlder, event: news.event },
  )
  return { outcome, kept: { ...kept, applied: appliedBy(key, outcome) } }
}

/** What is booked here once that is carried out. */
function appliedBy(key: string, outcome: Outcome): Kept['applied'] {
  if (outcome.does === 'book' || outcome.does === 'move' || outcome.does === 'amend') return [[key, outcome.visit]]
  return outcome.does === 'cancel' || outcome.does === 'no-show' ? [[key, null]] : []
}

function toldOf({ event, visit }: ScheduleNews): Partial<TheirVisit> {
  const state = STATES[event]
  const listed = (name: 'places' | 'clinicians' | 'types') =>
    visit && visit[name].length > 0 ? visit[name] : undefined
  const told = {
    ...{ state, places: listed('places'), clinicians: listed('clinicians'), types: listed('types') },
    ...{ startsAt: visit?.startsAt, minutes: visit?.minutes, purpose: visit?.purpose, dueBy: visit?.dueBy },
    ...{ consent: visit?.consent, overbooked: visit?.overbooked },
  }
  return Object.fromEntries(Object.entries(told).filter(([, value]) => value !== undefined))
}

/** Every occurrence from then on that nobody spoke of later. */
function endSeries(
  known: Known,
  news: ScheduleNews,
  feed: Feed,
  { key, by, now }: Moment & { key: string },
): Reconciled {
  const series = seriesOf(key)
  const end = { from: news.visit?.startsAt ?? news.madeAt ?? now, by }
  const kept: Kept = { ...NOTHING_KEPT, seriesEnds: [[series, end]] }
  const after = overlaid(known, kept)
  const called = [...known.applied.keys()].filter(
    (each) => seriesOf(each) === series && ourView(after, each, feed)?.is === 'cancelled',
  )
  const why = `The rest of the series is called off: ${called.length} visits that are known.`
  const applied = called.map((each) => [each, null] as const)
  return {
    outcome: called.length > 0 ? { does: 'cancel', visit: null, why } : nothing(why),
    kept: { ...kept, applied },
  }
}

const nothing = (why: string, visit: OurVisit | null = null): Outcome & { does: 'nothing' } => ({
  does: 'nothing',
  visit,
  why,
})
const hold = (visit: OurVisit | null, why: string, ack: Ack = 'AA'): Outcome => ({ does: 'hold', visit, why, ack })

interface Asked {
  now: Date
  /** Something later was told before. */
  isOlder: boolean
  event: ScheduleEvent
}

interface Stands {
  /** How it stood with them before and stands now. */
  before: OurView | null
  after: OurView | null
  /** What is booked here. */
  applied: OurVisit | undefined
}

/** What follows where a visit stands so with them, and so here. */
function difference({ before, after, applied }: Stands, asked: Asked): Outcome {
  if (!after) return nothing('Nothing is told of a visit.')
  if (after.is === 'foreign' && !applied) return nothing('This kind of visit does not concern us.')
  if (after.is === 'foreign' || after.is === 'incomplete') {
    if (JSON.stringify(before) === JSON.stringify(after)) return nothing('Waits for a person already.', applied ?? null)
    if (after.is === 'foreign')
      return hold(applied!, 'The visit became one of a kind that does not concern us: keep it or cancel it.')
    const ack = after.unmapped ? 'AE' : 'AA'
    return applied ? hold(applied, `${after.why} The visit stays as it was.`, ack) : hold(null, after.why, ack)
  }
  if (after.is === 'booked') return booked({ before, applied }, after.visit, asked)
  if (after.is === 'arrived') return nothing('The patient has come.', after.visit)
  return ended({ before, applied }, after, asked)
}

function booked({ before, applied }: Omit<Stands, 'after'>, visit: OurVisit, { now, isOlder, event }: Asked): Outcome {
  if (applied) {
    if (isSame(applied, visit)) return nothing(isOlder ? 'Older than what is known.' : 'Told before, unchanged.', visit)
    if (isElsewhere(applied, visit)) return { does: 'move', visit, why: movedWords(applied, visit) }
    const why = changedWords(applied, visit)
    const died = visit.patient.died && !applied.patient.died
    return { does: 'amend', visit, why: died ? 'The patient has died: nothing is sent any more.' : why }
  }
  if (visit.startsAt <= now) return nothing('The visit is over.', visit)
  if (visit.patient.died)
    return before?.is === 'booked'
      ? nothing('Waits for a person already.', visit)
      : hold(visit, 'A visit of somebody who has died: nothing is sent.')
  if (before?.visit && before.is !== 'booked' && before.is !== 'arrived')
    return { does: 'book', visit, why: 'Booked again after it was called off: tell the desk.' }
  return { does: 'book', visit, why: bookedWords(visit, event, now) }
}

function bookedWords(visit: OurVisit, event: ScheduleEvent, now: Date): string {
  const notes = [
    event === 'moved' && 'The booking before this change never came.',
    visit.overbooked && 'Overbooked on purpose.',
    visit.patient.language === null && 'No language that we write in was told.',
    !visit.consent && 'Nothing is sent until consent is recorded.',
    visit.startsAt.getTime() - now.getTime() < 48 * HOUR_MS && 'In less than 48 hours: too late to prepare in full.',
  ]
  return notes.filter(Boolean).join(' ')
}

const HOUR_MS = 3_600_000

function ended(
  { before, applied }: Omit<Stands, 'after'>,
  { is, visit }: OurView & { is: TheirState },
  { now, isOlder }: Asked,
): Outcome {
  if (!applied)
    return before?.is === is
      ? nothing(isOlder ? 'Older than what is known.' : 'Told before, unchanged.', visit)
      : nothing('Not booked here; it is remembered, should the booking come late.', visit)
  if (is !== 'no-show')
    return { does: 'cancel', visit: applied, why: is === 'in-error' ? 'Entered by mistake: it never was.' : '' }
  if (applied.startsAt <= now) return { does: 'no-show', visit: applied, why: '' }
  return before?.is === is
    ? nothing('Waits for a person already.', applied)
    : hold(applied, 'Said not to have come to a visit that is still to come.')
}
