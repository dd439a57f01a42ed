import { clinicianOf } from '../../domain/schedule/entry.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import type { Outcome } from '../../domain/schedule/outcome.ts'
import type { OurTimes, ToldTimes } from '../../domain/schedule/schedule-news.ts'
import { opening } from '../../domain/visits/slot.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { KnownHere } from '../ports/schedule.ts'
import { openHeld } from './held-news.ts'

type Times = Extract<Outcome, { does: 'times' }>

/** Longer than any visit: so many openings one after the other. */
const HALF_HOUR_MS = 1_800_000
const MOST = 500

/** Opens times of the diary, or closes them; who is booked within those a person moves. */
export async function changeTimes(
  tx: Tx,
  deps: Deps,
  feed: Feed,
  { opens, times }: Times,
  here: KnownHere,
): Promise<void> {
  for (const each of times) {
    if (opens) await open(tx, deps, feed, each)
    else await close(tx, deps, feed, each, here)
  }
}

async function open(tx: Tx, deps: Deps, feed: Feed, time: OurTimes): Promise<void> {
  const clinic = await tx.clinics.get(time.clinic)
  if (!clinic) return
  const { visitMinutes } = clinic.settings
  const clinician = clinicianOf(time.clinician, feed)
  const slots = startsOf(time, visitMinutes).map(({ startsAt, minutes }) =>
    opening({ id: deps.newId('o'), clinicId: clinic.id, clinician, startsAt }, minutes),
  )
  await tx.slots.add(slots.filter(({ startsAt }) => startsAt > deps.clock.now()))
}

/** One opening as told, or as many visits of the clinic's usual length as fit into a longer time. */
function startsOf({ from, to }: ToldTimes, visitMinutes: number | null): { startsAt: Date; minutes: number }[] {
  const lasts = to.getTime() - from.getTime()
  const step = visitMinutes === null || lasts <= HALF_HOUR_MS ? lasts : visitMinutes * 60_000
  const count = Math.min(MOST, Math.max(1, Math.floor(lasts / step)))
  return Array.from({ length: count }, (_, index) => ({
    startsAt: new Date(from.getTime() + index * step),
    minutes: Math.round(step / 60_000),
  }))
}

async function close(tx: Tx, deps: Deps, feed: Feed, time: OurTimes, here: KnownHere): Promise<void> {
  const { from, to, clinic } = time
  const clinician = clinicianOf(time.clinician, feed)
  const isTheirs = (each: string) => time.clinician === '' || each === clinician
  const slots = await tx.slots.list({ clinicId: clinic, from, to, states: ['free', 'held'], limit: MOST })
  for (const slot of slots.filter((each) => isTheirs(each.clinician))) await tx.slots.remove(slot.id, deps.clock.now())
  for (const [key, visit] of here.known.applied) {
    const isMet = visit.clinic === clinic && isTheirs(visit.clinician) && visit.startsAt >= from && visit.startsAt < to
    if (isMet) await openHeld(tx, deps, feed, here, { key, clinic, why: CLOSED })
  }
}

const CLOSED = 'Its time is closed now: agree on another with the patient, and move it there.'
