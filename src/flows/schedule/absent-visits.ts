import { inZone } from '../../domain/local-time.ts'
import type { CheckLine } from '../../domain/schedule/check-line.ts'
import { ABSENT, absentFrom, type Absent, type Whole } from '../../domain/schedule/completeness.ts'
import type { Feed, MessageRead, Refusal } from '../../domain/schedule/feed.ts'
import { needsOfVisits } from '../../domain/schedule/needs.ts'
import type { OurVisit } from '../../domain/schedule/our-visit.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { FeedFault, KnownHere } from '../ports/schedule.ts'
import { closeFollowUps } from '../calls/follow-ups.ts'
import { heldWords, openHeld } from './held-news.ts'

/** Which visits a file that is said to hold them all leaves out, and which of them it has. */
export interface Found {
  absent: Absent['visits']
  /** Bookings that are in it. */
  present: readonly string[]
}

/** Looks for what is absent. A refusal: the file itself is at fault. */
export async function absentVisits(
  { store: { read }, clock }: Deps,
  feed: Feed,
  reads: readonly MessageRead[],
  whole: Whole,
): Promise<Found | Refusal> {
  const keys = await read.feeds.bookedWithin(feed.name, whole.from, whole.to)
  const { known, bookings } = await read.feeds.look(feed.name, needsOfVisits(keys))
  const stands = new Set(
    (await read.bookings.many([...bookings.values()]))
      .filter(({ state, outcome }) => state === 'booked' && outcome === null)
      .map(({ id }) => id),
  )
  const booked = new Map([...known.applied].filter(([key]) => stands.has(bookings.get(key)!)))
  const { visits, fault } = absentFrom(reads, booked, whole, clock.now())
  if (fault !== null) return { ack: 'AE', code: 207, at: '', why: fault }
  const away = new Set(visits.map(({ key }) => key))
  return {
    absent: visits,
    present: [...booked.keys()].filter((key) => !away.has(key)).map((key) => bookings.get(key)!),
  }
}

/** What a line says of a visit that is in no row. */
export function absentLine({ key, visit }: Absent['visits'][number], { zone }: Feed, said = false): CheckLine {
  return {
    n: 0,
    does: said ? 'nothing' : 'hold',
    visit: inZone(visit.startsAt, zone).toFormat("yyyy-MM-dd'T'HH:mmZZ"),
    key: key.replace(/\^+$/, ''),
    why: said ? 'Not in the file; a person was told before.' : ABSENT,
    ack: 'AA',
  }
}

/** Has a person look at each that is absent, once; and nobody any more at those that are there again. */
export async function tellAbsent(deps: Deps, feed: Feed, { absent, present }: Found): Promise<CheckLine[]> {
  if (absent.length === 0 && present.length === 0) return []
  return deps.store.transact(async (tx) => {
    const here = await tx.feeds.load(feed.name, needsOfVisits(absent.map(({ key }) => key)))
    await closeFound(tx, deps, present)
    const lines: CheckLine[] = []
    for (const each of absent) lines.push(absentLine(each, feed, !(await tell(tx, deps, feed, here, each))))
    const told = lines.flatMap(({ does }, index) => (does === 'hold' ? faultOf(deps, absent[index]!) : []))
    await tx.feeds.addFaults(feed.name, told)
    const counts = new Map(told.length === 0 ? [] : [['hold', told.length] as const])
    await tx.feeds.count(feed.name, counts, deps.clock.now(), null)
    return lines
  })
}

/** @returns whether somebody was told; false = they were before */
async function tell(
  tx: Tx,
  deps: Deps,
  feed: Feed,
  here: KnownHere,
  { key, visit }: { key: string; visit: OurVisit },
): Promise<boolean> {
  const held = { key, clinic: visit.clinic, why: ABSENT }
  const bookingId = here.bookings.get(key)
  if (bookingId === undefined) return false
  const before = await tx.followUps.list({ bookingId, reasons: ['schedule-unclear'], limit: MOST_CALLS })
  const words = heldWords(feed, held)
  // Whoever looked and left the visit as it is must not be asked every night.
  if (before.some(({ detail, closedBy }) => detail.why === words && closedBy !== 'daysix')) return false
  await openHeld(tx, deps, feed, here, held)
  return true
}

const MOST_CALLS = 50
const AT_ONCE = 200

/** What was absent once and is in the file now. */
async function closeFound(tx: Tx, deps: Deps, present: readonly string[]): Promise<void> {
  for (let at = 0; at < present.length; at += AT_ONCE) {
    const bookingIds = present.slice(at, at + AT_ONCE)
    const open = await tx.followUps.list({ bookingIds, reasons: ['schedule-unclear'], open: true, limit: AT_ONCE })
    const isAbsent = ({ detail }: (typeof open)[number]) => String(detail.why).endsWith(ABSENT)
    for (const { bookingId } of open.filter(isAbsent))
      await closeFollowUps(tx, deps, bookingId!, isAbsent, 'it is in the schedule again')
  }
}

const faultOf = ({ newId, clock }: Deps, { key, visit }: Absent['visits'][number]): FeedFault => ({
  ...{ id: newId('h'), at: clock.now(), does: 'hold', clinicId: visit.clinic, key, why: ABSENT },
})
