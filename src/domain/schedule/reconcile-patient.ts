import type { Feed } from './feed.ts'
import { NOTHING_KEPT, overlaid, type Kept, type Known, type LookUps, type TheirPatient } from './known.ts'
import { currentId, ourView } from './our-view.ts'
import type { Outcome, Reconciled } from './outcome.ts'
import type { OurVisit } from './our-visit.ts'
import { changedWords } from './differences.ts'
import { compareStamps, tell, type Registered, type Stamp } from './register.ts'
import type { PatientId, ScheduleNews, ToldPatient } from './schedule-news.ts'

/** An id with who gave it and of what type: the same digits of two hospitals are two people. */
export const nameOf = ({ value, authority, type }: PatientId) =>
  [value, authority, type].map(encodeURIComponent).join('^')

/**
 * Under which of ours somebody is known: the first id that is known already, else the first; somebody without any is
 * known by the visit alone.
 */
export function patientIdOf(known: Known, { ids }: ToldPatient, visit: string): string {
  const names = ids.map((each) => currentId(known, nameOf(each)))
  return names.find((each) => known.patients.has(each)) ?? names[0] ?? `visit ${visit}`
}

export function keepPatient(
  known: LookUps,
  id: string,
  { ids, ...told }: ToldPatient,
  by: Stamp,
): readonly [string, Registered<TheirPatient>] {
  const current = currentId(known, id)
  const all = { ...told, ...(ids.length > 0 && { ids }) } as Partial<TheirPatient>
  return [current, tell(known.patients.get(current) ?? {}, all, by)]
}

/** News of a patient alone: what it changes of the visits that are booked. */
export function reconcilePatient(
  known: Known,
  news: ScheduleNews,
  feed: Feed,
  { now, by }: { now: Date; by: Stamp },
): Reconciled {
  const { patient } = news
  if (!patient || patient.ids.length === 0)
    return {
      outcome: { does: 'hold', visit: null, why: 'No id of the patient was told.', ack: 'AE' },
      kept: NOTHING_KEPT,
    }
  const id = patientIdOf(known, patient, '')
  if (!known.patients.has(id))
    return { outcome: { does: 'nothing', visit: null, why: 'Nobody of ours.' }, kept: NOTHING_KEPT }
  const kept: Kept = { ...NOTHING_KEPT, patients: [keepPatient(known, id, patient, by)] }
  const { outcome, applied } = amended(known, overlaid(known, kept), feed, { id, now })
  return { outcome, kept: { ...kept, applied } }
}

/** One id for two that were the same person all along. */
export function reconcileMerge(known: Known, { patient, mergedIds = [] }: ScheduleNews, by: Stamp): Reconciled {
  const names = patient?.ids.map(nameOf) ?? []
  const into = names.map((each) => currentId(known, each)).find((each) => known.patients.has(each)) ?? names[0]
  if (into === undefined || mergedIds.length === 0)
    return {
      outcome: { does: 'hold', visit: null, why: 'Which patients are one is not told in full.', ack: 'AE' },
      kept: NOTHING_KEPT,
    }
  const gone = mergedIds.map((each) => currentId(known, nameOf(each))).filter((each) => each !== into)
  const rows = gone.flatMap((each) => known.patients.get(each) ?? [])
  const merged = rows.reduce((all, row) => mergeRegistered(all, row), known.patients.get(currentId(known, into)) ?? {})
  const told = patient ? keepPatient({ ...known, patients: new Map([[into, merged]]) }, into, patient, by)[1] : merged
  const kept: Kept = { ...NOTHING_KEPT, aliases: gone.map((each) => [each, into]), patients: [[into, told]] }
  return {
    outcome:
      rows.length > 0
        ? { does: 'merge', why: 'Two records of one patient: the stricter consent of both holds.' }
        : { does: 'nothing', visit: null, why: 'Nobody of ours under the old id; it is remembered.' },
    kept,
  }
}

/** Of each field what was told last of either. */
function mergeRegistered(a: Registered<TheirPatient>, b: Registered<TheirPatient>): Registered<TheirPatient> {
  const fields = Object.entries(b) as [keyof TheirPatient, { value: never; by: Stamp }][]
  return fields.reduce<Registered<TheirPatient>>((all, [field, { value, by }]) => {
    const mine = all[field]
    return mine && compareStamps(mine.by, by) > 0 ? all : { ...all, [field]: { value, by } }
  }, a)
}

/** What is booked here of a patient and is not what it would be by now, and what can be booked only now. */
function amended(
  before: Known,
  after: LookUps,
  feed: Feed,
  { id, now }: { id: string; now: Date },
): { outcome: Outcome; applied: (readonly [string, OurVisit])[] } {
  const mine = [...before.visits].filter(([, { patient }]) => patient && currentId(before, patient.value) === id)
  const views = mine.map(([key]) => ({ key, was: before.applied.get(key), is: ourView(after, key, feed) }))
  const missing = views.find(({ was, is }) => was && is?.is === 'incomplete')
  if (missing?.is?.is === 'incomplete')
    return { outcome: { does: 'hold', visit: missing.was!, why: missing.is.why, ack: 'AA' }, applied: [] }
  const changes = views.flatMap(({ key, was, is }) => {
    if (is?.is !== 'booked' || JSON.stringify(was) === JSON.stringify(is.visit)) return []
    return was || (is.visit.startsAt > now && !is.visit.patient.died) ? [{ key, was, visit: is.visit }] : []
  })
  const [first] = changes
  if (!first)
    return { outcome: { does: 'nothing', visit: null, why: 'Changes nothing of a visit to come.' }, applied: [] }
  const applied = changes.map(({ key, visit }) => [key, visit] as const)
  if (!first.was) return { outcome: { does: 'book', visit: first.visit, why: 'Now the patient is known.' }, applied }
  const why = first.visit.patient.died
    ? 'The patient has died: nothing is sent any more.'
    : `${changedWords(first.was, first.visit)}${changes.length > 1 ? ` The same for all ${changes.length} visits.` : ''}`
  return { outcome: { does: 'amend', visit: first.visit, why }, applied }
}
