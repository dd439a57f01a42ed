import type { Booking } from '../../domain/visits/booking.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import { judgeVisit, type VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { cycleWindows, type CycleWindow } from '../../domain/preparation/cycle/windows.ts'
import { rankOpenings } from '../../domain/visits/rank-openings.ts'
import { chooseOpenings } from '../../domain/visits/choose-openings.ts'
import { dateIn } from '../../domain/local-time.ts'
import { protocolOf } from '../lookups.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Records } from '../ports/deps.ts'

/** How far ahead openings are looked for, and how many are weighed. */
const LOOK_AHEAD_MS = 60 * 86_400_000
const MOST_WEIGHED = 500

/** Whether the visit's time is good, by what is known of her cycle (or by `history`, while that is being learned). */
export function judgeBooking(deps: Deps, booking: Booking, history: CycleHistory): VisitJudgement {
  const protocol = protocolOf(deps, booking.protocol)
  return judgeVisit(history, dateIn(booking.visitAt, booking.zone), protocol, dateIn(deps.clock.now(), booking.zone))
}

/**
 * Up to three free openings of the clinic that would serve the patient better, or at all (`mustMove`); none at a time at
 * which the patient has another visit.
 * @param latest none after this
 */
export async function betterOpenings(
  records: Records,
  deps: Deps,
  { booking, patient, clinic }: VisitContext,
  mustMove: boolean,
  latest?: Date,
): Promise<Slot[]> {
  const now = deps.clock.now()
  const to = new Date(Math.max(now.getTime(), booking.visitAt.getTime()) + LOOK_AHEAD_MS)
  const [free, others] = await Promise.all([
    records.slots.list({ clinicId: clinic.id, from: now, to, states: ['free', 'held'], limit: MOST_WEIGHED }),
    patient.id === '' ? [] : records.bookings.list({ patientIds: [patient.id], from: now, to, state: 'booked', limit: MOST_WEIGHED }),
  ])
  const busy = new Set(others.map(({ visitAt }) => visitAt.getTime()))
  const isPossible = (slot: Slot) => isOpenTo(slot, booking.id, now) && !busy.has(slot.startsAt.getTime()) && !(latest && slot.startsAt > latest)
  return chooseOpenings({
    openings: free.filter(isPossible),
    at: (slot) => slot.startsAt,
    history: patient.cycle,
    visit: booking.visitAt,
    zone: booking.zone,
    now,
    hours: clinic.settings.hours,
    protocol: protocolOf(deps, booking.protocol),
    mustMove,
  })
}

function isOpenTo(slot: Slot, bookingId: string, now: Date): boolean {
  return slot.state === 'free' || slot.bookingId === bookingId || slot.heldUntil! <= now
}

/** An opening with what it is worth: its chance of a day to avoid, likely cycle day, and place among the others (1 = best). */
export interface WeighedOpening {
  slot: Slot
  avoidProbability: number
  cycleDay: number | null
  rank: number
}

/** What openings are worth to a visit, in the order in which they are given. */
export function weighed(deps: Deps, booking: Booking, cycle: CycleHistory, slots: readonly Slot[]): WeighedOpening[] {
  const { zone } = booking
  const openings = slots.map((slot, index) => ({ key: String(index), date: dateIn(slot.startsAt, zone) }))
  if (openings.length === 0) return []
  const ranked = rankOpenings({
    ...{ history: cycle, booked: dateIn(booking.visitAt, zone), openings, mustMove: true },
    ...{ protocol: protocolOf(deps, booking.protocol), asOf: dateIn(deps.clock.now(), zone) },
  })
  return slots.flatMap((slot, index) => {
    const rank = ranked.findIndex(({ key }) => key === String(index))
    const found = ranked[rank]
    return found ? [{ slot, avoidProbability: found.avoidProbability, cycleDay: found.cycleDay, rank: rank + 1 }] : []
  })
}

/** The collection windows of this cycle and the next two, as they look today. */
export function windowsOf(deps: Deps, { protocol, zone }: Pick<Booking, 'protocol' | 'zone'>, cycle: CycleHistory): CycleWindow[] {
  return cycleWindows(cycle, protocolOf(deps, protocol), dateIn(deps.clock.now(), zone))
}
