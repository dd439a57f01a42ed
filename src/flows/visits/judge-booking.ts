import type { Booking } from '../../domain/visits/booking.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import { judgementOf, type VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import { worthLooking } from '../../domain/preparation/cycle/move-rule.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import { cycleWindows, type CycleWindow } from '../../domain/preparation/cycle/windows.ts'
import { addDays } from '../../domain/preparation/cycle/days.ts'
import { weighOpenings, type WeighedOpening } from '../../domain/visits/choose-openings.ts'
import { endOf, LONGEST_MINUTES, sameTime } from '../../domain/visits/duration.ts'
import { latestBetter, whyKeptWords } from '../../domain/visits/move-limit.ts'
import { dateIn, startOfDay } from '../../domain/local-time.ts'
import { protocolOf } from '../lookups.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Records } from '../ports/deps.ts'

/** As many openings as are weighed for one visit. */
const MOST_WEIGHED = 500

export interface JudgeOptions {
  /** The patient cannot come at the booked time. */
  mustMove?: boolean
  /** No opening after this. */
  latest?: Date | undefined
}

/** What the rule says of a visit, and the openings put to the patient: up to three, in order of time. */
export interface JudgedVisit {
  judgement: VisitJudgement
  openings: WeighedOpening<Slot>[]
}

/** Whether the visit stays, or which of the clinic's free openings are better, by what is known today. */
export async function judgeBooking(
  records: Records,
  deps: Deps,
  about: VisitContext,
  options: JudgeOptions = {},
): Promise<JudgedVisit> {
  return judgeAmong(deps, about, await openingsWithinReach(records, deps, about, options.mustMove), options)
}

/** As `judgeBooking`, among openings that are at hand, and by another history while that is being learned. */
export function judgeAmong(
  deps: Deps,
  { booking, patient, clinic }: VisitContext,
  openings: readonly Slot[],
  { mustMove = false, latest }: JudgeOptions = {},
  history: CycleHistory = patient.cycle,
): JudgedVisit {
  const now = deps.clock.now()
  const protocol = protocolOf(deps, booking.protocol)
  const bound = latest ?? (mustMove ? null : latestBetter(booking))
  const { decision, chosen } = weighOpenings({
    openings: bound ? openings.filter(({ startsAt }) => startsAt <= bound) : openings,
    at: (slot) => slot.startsAt,
    history,
    visit: booking.visitAt,
    zone: booking.zone,
    now,
    hours: clinic.settings.hours,
    protocol,
    mustMove,
  })
  const judgement = judgementOf(decision, history, protocol, dateIn(now, booking.zone))
  return { judgement: withWhyKept(judgement, booking), openings: chosen }
}

/** A badly timed visit that is not routine, or that is due, stays all the same, and says so. */
function withWhyKept(judgement: VisitJudgement, booking: Booking): VisitJudgement {
  const because = whyKeptWords(booking)
  if (because === null || !judgement.keep || judgement.why !== 'nothing-better') return judgement
  return { ...judgement, reason: `${judgement.reason} Not to be put off: ${because}. A clinician decides on the day.` }
}

/**
 * The clinic's free openings so near that one of them may be worth the move (with `mustMove` all of the next weeks);
 * none at a time at which the patient has another visit.
 */
export async function openingsWithinReach(
  records: Records,
  deps: Deps,
  { booking, patient, clinic }: VisitContext,
  mustMove = false,
): Promise<Slot[]> {
  const now = deps.clock.now()
  const { zone } = booking
  const reach = worthLooking({
    history: patient.cycle,
    booked: dateIn(booking.visitAt, zone),
    protocol: protocolOf(deps, booking.protocol),
    mustMove,
    asOf: dateIn(now, zone),
  })
  if (!reach) return []
  const from = new Date(Math.max(now.getTime(), startOfDay(reach.from, zone).getTime()))
  const to = startOfDay(addDays(reach.to, 1), zone)
  const [free, others] = await Promise.all([
    records.slots.list({
      clinicId: clinic.id,
      from,
      to,
      states: ['free', 'held'],
      fits: { visit: booking, now },
      limit: MOST_WEIGHED,
    }),
    patient.id === ''
      ? []
      : records.bookings.list({
          patientIds: [patient.id],
          from: endOf(from, -LONGEST_MINUTES),
          to,
          state: 'booked',
          limit: MOST_WEIGHED,
        }),
  ])
  const { id, minutes } = booking
  const busy = others.filter((other) => other.id !== id)
  return free.filter(({ startsAt }) => !busy.some((other) => sameTime(other, { visitAt: startsAt, minutes })))
}

/** The collection windows of this cycle and the next two, as they look today. */
export function windowsOf(
  deps: Deps,
  { protocol, zone }: Pick<Booking, 'protocol' | 'zone'>,
  cycle: CycleHistory,
): CycleWindow[] {
  return cycleWindows(cycle, protocolOf(deps, protocol), dateIn(deps.clock.now(), zone))
}
