import type { Booking } from '../../domain/visits/booking.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import { Failure } from '../../domain/failure.ts'
import { prepDeadline } from '../../domain/preparation/deadline.ts'
import { latestBetter } from '../../domain/visits/move-limit.ts'
import { refuseOver } from '../../domain/visits/over.ts'
import { orNotFound, hasOtherVisitAt, protocolOf, loadVisit } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newAnswer } from '../messages/new-message.ts'
import { noteEvent } from './note-event.ts'
import { closeApproval, openFollowUp, settleFollowUps } from '../calls/follow-ups.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import { leaveMoveToDesk } from './offer-openings.ts'
import { askSchedule, type Linked } from '../schedule/ask-schedule.ts'
import { withdrawCancelled } from './tell-cancelled.ts'
import { tellDecided } from './tell-moved.ts'

/** Its times may be another patient's by now, though nobody has said so yet. */
const hasLapsed = ({ until }: Offer, now: Date): boolean => until <= now

/** The patient chose. Moves the visit at once, or waits for the desk, as the clinic has it. */
export async function acceptChoice(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  choice: number,
): Promise<'moved' | 'waiting' | 'gone'> {
  const offer = await tx.offers.pending(about.booking.id)
  const chosen = offer?.choices[choice - 1]
  if (offer?.state !== 'open' || !chosen || hasLapsed(offer, deps.clock.now())) return 'gone'
  const { movePolicy } = about.clinic.settings
  if (movePolicy !== 'at-once') return await waitFor(tx, deps, about, offer, choice)
  return (await carryOutMove(tx, deps, about, offer, choice, 'patient')) ? 'moved' : 'gone'
}

/** The time is held until the desk, or the clinic's own schedule, says so. */
async function waitFor(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  offer: Offer,
  choice: number,
): Promise<'waiting' | 'gone'> {
  const { slotId, at } = offer.choices[choice - 1]!
  const until = prepDeadline(at, protocolOf(deps, about.booking.protocol).prepHours)
  await tx.slots.release(about.booking.id)
  if (!(await tx.slots.hold(slotId, about.booking, until, deps.clock.now()))) return 'gone'
  await tx.offers.move(offer.id, ['open'], 'waiting', { chosen: choice, until })
  await tx.messages.insert([newAnswer(deps, about, 'move-asked', { visitAt: at })])
  const linked = await decidingSchedule(tx, about)
  const detail = { offer: offer.id, to: at.toISOString() }
  await openFollowUp(tx, deps, about, linked ? 'enter-move' : 'approve-move', detail)
  if (linked) await askSchedule(tx, deps, about.booking, linked, at)
  return 'waiting'
}

async function carryOutMove(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  offer: Offer,
  choice: number,
  by: string,
): Promise<boolean> {
  if (hasLapsed(offer, deps.clock.now())) return false
  // Booked since the offer was made: nobody can be at two visits at once.
  const { at } = offer.choices[choice - 1]!
  if (await hasOtherVisitAt(tx, { ...about.booking, visitAt: at })) return false
  // Not routine any more, or due: a later time is not better.
  const latest = latestBetter(about.booking)
  if (latest && at > latest) return false
  const taken = await tx.slots.takeHeld(offer.choices[choice - 1]!.slotId, about.booking, deps.clock.now())
  if (!taken) return false
  if (by !== 'patient') await closeApproval(tx, deps, offer, 'move approved', by)
  await tx.offers.move(offer.id, ['open', 'waiting'], 'accepted', { chosen: choice })
  await moveVisit(tx, deps, about, taken, by)
  if (by === 'patient')
    await openFollowUp(tx, deps, about, 'visit-moved', {
      from: about.booking.visitAt.toISOString(),
      to: taken.startsAt.toISOString(),
    })
  return true
}

/** The visit takes the new time, the old one becomes an opening, the plan is made anew, the patient is told. */
async function moveVisit(
  tx: Tx,
  deps: Deps,
  { booking, patient, clinic }: VisitContext,
  to: Slot,
  by: string,
): Promise<void> {
  const time = { visitAt: to.startsAt, clinician: to.clinician, moves: booking.moves + 1 }
  const moved: Booking = { ...booking, ...time, confirmedAt: null, shortNotice: false, lapses: [], outcome: null }
  await tx.slots.free(booking.id, booking.visitAt)
  await tx.slots.release(booking.id)
  // First: the plan for the new time may open calls of its own.
  await settleFollowUps(tx, deps, booking.id, 'new-time', 'visit moved')
  await withdrawCancelled(tx, deps, patient.id, moved.visitAt)
  const planned = await makePlan(tx, deps, { booking: moved, patient, clinic, confirm: false })
  const told = { booking: planned.booking, patient, clinic }
  if (by === 'patient') await tx.messages.insert([newAnswer(deps, told, 'moved')])
  else await tellDecided(tx, deps, told, 'moved')
  await noteEvent(tx, deps, booking.id, 'moved', by, {
    from: booking.visitAt.toISOString(),
    to: to.startsAt.toISOString(),
  })
  deps.notice('moved', { booking: booking.id })
}

/** The schedule that has to say so first; a visit that none told of is the desk's to move. */
async function decidingSchedule(tx: Tx, { booking, clinic }: VisitContext): Promise<Linked | undefined> {
  return clinic.settings.movePolicy === 'schedule-decides' ? tx.feeds.ofBooking(booking.id) : undefined
}

const IN_SCHEDULE = {
  field: 'approve',
  message: 'Move it in the schedule of the clinic: here it is moved once that schedule says so.',
}

/**
 * The desk's word on a choice that waits for it.
 * @returns whether the visit is moved: what was approved may not be had any more
 * @throws not-found, too-late (settled already, visit over), bad-input (the clinic's own schedule decides)
 */
export async function settleMove(deps: Deps, offerId: string, approve: boolean, by: string): Promise<boolean> {
  const moved = await deps.store.transact(async (tx) => {
    const offer = orNotFound(await tx.offers.get(offerId), 'offer')
    const about = await loadVisit(tx, await tx.bookings.lock(offer.bookingId))
    refuseOver(about.booking, deps.clock.now())
    const current = await tx.offers.get(offerId)
    if (current?.state !== 'waiting' || current.chosen === null)
      throw new Failure('too-late', { message: 'This choice is no longer waiting for approval.' })
    if (approve && (await decidingSchedule(tx, about))) throw new Failure('bad-input', IN_SCHEDULE)
    if (approve && (await carryOutMove(tx, deps, about, current, current.chosen, by))) return true
    await closeApproval(tx, deps, current, approve ? 'approved, but the time is gone' : 'move declined', by)
    await tx.offers.move(offerId, ['waiting'], 'declined')
    await noteEvent(tx, deps, about.booking.id, 'move-declined', by, { offer: offerId })
    await tx.slots.release(about.booking.id)
    await tellDecided(tx, deps, about, 'cannot-offer')
    await leaveMoveToDesk(tx, deps, about, current.reason)
    return false
  })
  await enqueueDue(deps)
  return moved
}
