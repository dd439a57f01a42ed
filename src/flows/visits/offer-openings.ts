import type { Offer, OfferReason } from '../../domain/visits/offer.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import { goodDates } from '../../domain/preparation/cycle/good-dates.ts'
import { addDays } from '../../domain/preparation/cycle/days.ts'
import { reaches } from '../../domain/patients/reach.ts'
import { prepDeadline } from '../../domain/preparation/deadline.ts'
import { dateIn } from '../../domain/local-time.ts'
import type { FollowUpReason } from '../../domain/calls/follow-up.ts'
import { latestBetter, latestOffer, whyKept } from '../../domain/visits/move-limit.ts'
import { judgeBooking } from './judge-booking.ts'
import { protocolOf } from '../lookups.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newAnswer } from '../messages/new-message.ts'
import { noteEvent } from './note-event.ts'
import { closeApproval, openFollowUp } from '../calls/follow-ups.ts'

const HOUR = 3_600_000
const DESK_LOOK_AHEAD_DAYS = 42

/**
 * Puts up to three openings to the patient and holds them; where there are none, or none that may be offered by text,
 * the patient is told that the clinic calls, and the desk gets the good dates.
 * @param because what the desk should read beside that call, e.g. the patient's words
 */
export async function offerOpenings(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  wanted: OfferReason,
  because: Record<string, unknown> = {},
): Promise<'offered' | 'none'> {
  const before = await supersedeOffer(tx, deps, about.booking.id)
  // Whoever cannot come needs another time, whatever the dates say since.
  const reason = before?.reason === 'cannot-come' ? before.reason : wanted
  // A landline: times would be held, and nobody told.
  if (!reaches(about.patient, 'sms')) {
    await leaveMoveToDesk(tx, deps, about, reason, because)
    return 'none'
  }
  const now = deps.clock.now()
  const latest = latestOffer(about.booking, about.clinic.settings.moveLimit)
  const mustMove = reason === 'cannot-come'
  const better = async (until?: Date) =>
    (await judgeBooking(tx, deps, about, { mustMove, latest: until })).openings.map(({ opening }) => opening)
  const openings = latest ? await better(latest) : []
  const until = offerEnds(deps, about, openings)
  const held = await holdAll(openings, (id) => tx.slots.hold(id, about.booking, until, now))
  if (held.length === 0) {
    await tx.messages.insert([newAnswer(deps, about, 'cannot-offer')])
    await leaveMoveToDesk(tx, deps, about, (await isLimited(tx, deps, about, mustMove)) ?? reason, because)
    return 'none'
  }
  await makeOffer(tx, deps, about, reason, held, until)
  return 'offered'
}

/** The clinic's limit of moves, or the day by which it is due, keeps times from being offered that there are. */
async function isLimited(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  mustMove: boolean,
): Promise<'move-limit' | 'nearest-time' | undefined> {
  const { openings } = await judgeBooking(tx, deps, about, { mustMove })
  if (openings.length === 0) return undefined
  const due = latestBetter(about.booking)
  return due && openings.every(({ opening }) => opening.startsAt > due) ? 'nearest-time' : 'move-limit'
}

/** In order of their ids, so that nobody waits in a circle. @returns those that were had */
async function holdAll<Time extends Pick<Slot, 'id'>>(
  openings: readonly Time[],
  hold: (id: string) => Promise<boolean>,
): Promise<Time[]> {
  const ids = openings.map(({ id }) => id).sort()
  const got = await Promise.all(ids.map(hold))
  return openings.filter(({ id }) => got[ids.indexOf(id)])
}

type WhyLeft = OfferReason | 'move-limit' | 'nearest-time'

/** Of a visit that may not be put off. */
const KEPT = {
  'no-opening': 'not-to-be-put-off',
  'cannot-come': 'nearest-time',
  'move-limit': 'nearest-time',
  'nearest-time': 'nearest-time',
} as const satisfies Record<WhyLeft, FollowUpReason>

/** The patient needs another time, and nothing is on offer: the desk agrees on one by telephone. */
export function leaveMoveToDesk(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  wanted: WhyLeft,
  because: Record<string, unknown> = {},
): Promise<void> {
  const reason = whyKept(about.booking) === null ? wanted : KEPT[wanted]
  return openFollowUp(tx, deps, about, reason, { ...because, goodDates: datesForDesk(deps, about) })
}

async function makeOffer(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  reason: OfferReason,
  held: Slot[],
  until: Date,
): Promise<void> {
  const choices = held.map(({ id, startsAt }) => ({ slotId: id, at: startsAt }))
  const facts = { bookingId: about.booking.id, reason, choices, madeAt: deps.clock.now(), until }
  const offer: Offer = { id: deps.newId('r'), state: 'open', chosen: null, ...facts }
  await tx.offers.insert(offer)
  await tx.messages.insert([newAnswer(deps, about, 'offer', { choices: choices.map(({ at }) => at), notAfter: until })])
  await noteEvent(tx, deps, about.booking.id, 'offered', 'daysix', { offer: offer.id, openings: choices.length })
  deps.notice('offered', { booking: about.booking.id, offer: offer.id })
}

/** Held for the clinic's time, but never so long that the first opening can no longer be prepared for. */
function offerEnds(deps: Deps, { booking, clinic }: VisitContext, openings: Pick<Slot, 'startsAt'>[]): Date {
  const usual = deps.clock.now().getTime() + clinic.settings.holdHours * HOUR
  const { prepHours } = protocolOf(deps, booking.protocol)
  const lastChance = openings.map(({ startsAt }) => prepDeadline(startsAt, prepHours).getTime())
  return new Date(Math.min(usual, ...lastChance))
}

/**
 * Ends what is on offer, with the call to approve what was chosen from it.
 * @returns the offer that ended. Unless something takes its place, its reason is left to the desk: see
 *   `leaveMoveToDesk`
 */
export async function supersedeOffer(tx: Tx, deps: Deps, bookingId: string): Promise<Offer | undefined> {
  const pending = await tx.offers.pending(bookingId)
  if (!pending) return undefined
  await tx.offers.move(pending.id, ['open', 'waiting'], 'overtaken')
  await tx.slots.release(bookingId)
  if (pending.state === 'waiting') await closeApproval(tx, deps, pending, 'the choice was taken back')
  return pending
}

/** Times that are held for the patient are held for as long as the visit lasts now, or the offer ends. */
export async function holdAnew(tx: Tx, deps: Deps, about: VisitContext): Promise<void> {
  const offer = await tx.offers.pending(about.booking.id)
  if (!offer) return
  const choices = offer.chosen === null ? offer.choices : [offer.choices[offer.chosen - 1]!]
  const times = choices.map(({ slotId: id }) => ({ id }))
  const held = await holdAll(times, (id) => tx.slots.hold(id, about.booking, offer.until, deps.clock.now()))
  if (held.length === times.length) return
  await supersedeOffer(tx, deps, about.booking.id)
  await leaveMoveToDesk(tx, deps, about, offer.reason)
}

/** Takes a choice back that waits for the desk: the offer is open again, as far as its times are still free. */
export async function reopenOffer(tx: Tx, deps: Deps, about: VisitContext, offer: Offer): Promise<void> {
  const until = offerEnds(
    deps,
    about,
    offer.choices.map(({ at }) => ({ startsAt: at })),
  )
  const hold = ({ slotId }: Offer['choices'][number]) => tx.slots.hold(slotId, about.booking, until, deps.clock.now())
  await Promise.all(offer.choices.map(hold))
  await tx.offers.move(offer.id, ['waiting'], 'open', { until })
  await closeApproval(tx, deps, offer, 'the choice was taken back')
}

const NEVER = '9999-12-31'

/** Dates on which a visit would be well timed, as the desk says them in a call; none after it is due. */
export function datesForDesk(deps: Deps, { booking, patient }: VisitContext): { from: string; to: string }[] {
  if (!deps.protocols.has(booking.protocol)) return []
  const today = dateIn(deps.clock.now(), booking.zone)
  const to = [addDays(today, DESK_LOOK_AHEAD_DAYS), booking.dueBy ?? NEVER].sort()[0]!
  const from = addDays(today, 3)
  if (from > to) return []
  const range = { from, to }
  return goodDates(patient.cycle, range, protocolOf(deps, booking.protocol), today)
}
