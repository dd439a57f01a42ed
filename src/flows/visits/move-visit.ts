import type { Booking } from '../../domain/visits/booking.ts'
import type { Offer, OfferReason } from '../../domain/visits/offer.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import { goodDates } from '../../domain/preparation/cycle/good-dates.ts'
import { addDays } from '../../domain/preparation/cycle/days.ts'
import { Failure } from '../../domain/failure.ts'
import { prepDeadline } from '../../domain/preparation/deadline.ts'
import { dateIn } from '../../domain/local-time.ts'
import { latestOffer } from '../../domain/visits/move-limit.ts'
import { betterOpenings } from './judge-booking.ts'
import { orNotFound, hasOtherVisitAt, protocolOf, loadVisit } from '../lookups.ts'
import { makePlan } from '../preparation/make-plan.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { newAnswer } from '../messages/new-message.ts'
import { noteEvent } from './note-event.ts'
import { closeApproval, openFollowUp, settleFollowUps } from '../calls/follow-ups.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'

const HOUR = 3_600_000
const DESK_LOOK_AHEAD_DAYS = 42

/**
 * Puts up to three openings to the patient and holds them; where there are none, or none that may be offered by text, the
 * patient is told that the clinic calls, and the desk gets the good dates.
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
  const now = deps.clock.now()
  const latest = latestOffer(about.booking)
  const openings = latest ? await betterOpenings(tx, deps, about, reason === 'cannot-come', latest) : []
  const until = offerEnds(deps, about, openings)
  const held = await holdAll(openings, (id) => tx.slots.hold(id, about.booking.id, until, now))
  if (held.length === 0) {
    await tx.messages.insert([newAnswer(deps, about, 'cannot-offer')])
    const limited = (await betterOpenings(tx, deps, about, reason === 'cannot-come')).length > 0
    await leaveMoveToDesk(tx, deps, about, limited ? 'move-limit' : reason, because)
    return 'none'
  }
  await makeOffer(tx, deps, about, reason, held, until)
  return 'offered'
}

/** In order of their ids, so that nobody waits in a circle. @returns those that were had */
async function holdAll(
  openings: readonly Slot[],
  hold: (id: string) => Promise<boolean>,
): Promise<Slot[]> {
  const ids = openings.map(({ id }) => id).sort()
  const got = await Promise.all(ids.map(hold))
  return openings.filter(({ id }) => got[ids.indexOf(id)])
}

/** The patient needs another time, and nothing is on offer: the desk agrees on one by telephone. */
export function leaveMoveToDesk(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  reason: OfferReason | 'move-limit',
  because: Record<string, unknown> = {},
): Promise<void> {
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
 * @returns the offer that ended. Unless something takes its place, its reason is left to the desk: see `leaveMoveToDesk`
 */
export async function supersedeOffer(tx: Tx, deps: Deps, bookingId: string): Promise<Offer | undefined> {
  const pending = await tx.offers.pending(bookingId)
  if (!pending) return undefined
  await tx.offers.move(pending.id, ['open', 'waiting'], 'overtaken')
  await tx.slots.release(bookingId)
  if (pending.state === 'waiting') await closeApproval(tx, deps, pending, 'the choice was taken back')
  return pending
}

/** Takes a choice back that waits for the desk: the offer is open again, as far as its times are still free. */
export async function reopenOffer(tx: Tx, deps: Deps, about: VisitContext, offer: Offer): Promise<void> {
  const until = offerEnds(deps, about, offer.choices.map(({ at }) => ({ startsAt: at }))) // prettier-ignore
  const hold = ({ slotId }: Offer['choices'][number]) => tx.slots.hold(slotId, about.booking.id, until, deps.clock.now())
  await Promise.all(offer.choices.map(hold))
  await tx.offers.move(offer.id, ['waiting'], 'open', { until })
  await closeApproval(tx, deps, offer, 'the choice was taken back')
}

function datesForDesk(deps: Deps, { booking, patient }: VisitContext): { from: string; to: string }[] {
  const today = dateIn(deps.clock.now(), booking.zone)
  const range = { from: addDays(today, 3), to: addDays(today, DESK_LOOK_AHEAD_DAYS) }
  return goodDates(patient.cycle, range, protocolOf(deps, booking.protocol), today)
}

/** She chose. Moves the visit at once, or waits for the desk, as the clinic has it. */
export async function acceptChoice(tx: Tx, deps: Deps, about: VisitContext, choice: number): Promise<'moved' | 'waiting' | 'gone'> {
  const offer = await tx.offers.pending(about.booking.id)
  const chosen = offer?.choices[choice - 1]
  if (offer?.state !== 'open' || !chosen) return 'gone'
  if (about.clinic.settings.movePolicy === 'desk-approves') return await waitForDesk(tx, deps, about, offer, choice)
  return (await carryOutMove(tx, deps, about, offer, choice, 'patient')) ? 'moved' : 'gone'
}

async function waitForDesk(tx: Tx, deps: Deps, about: VisitContext, offer: Offer, choice: number): Promise<'waiting'> {
  const { slotId, at } = offer.choices[choice - 1]!
  const until = prepDeadline(at, protocolOf(deps, about.booking.protocol).prepHours)
  await tx.slots.release(about.booking.id)
  await tx.slots.hold(slotId, about.booking.id, until, deps.clock.now())
  await tx.offers.move(offer.id, ['open'], 'waiting', { chosen: choice, until })
  await tx.messages.insert([newAnswer(deps, about, 'move-asked', { visitAt: at })])
  await openFollowUp(tx, deps, about, 'approve-move', { offer: offer.id, to: at.toISOString() })
  return 'waiting'
}

async function carryOutMove(tx: Tx, deps: Deps, about: VisitContext, offer: Offer, choice: number, by: string): Promise<boolean> {
  // Booked since the offer was made: nobody can be at two visits at once.
  if (await hasOtherVisitAt(tx, about.booking, offer.choices[choice - 1]!.at)) return false
  const taken = await tx.slots.takeHeld(offer.choices[choice - 1]!.slotId, about.booking.id, deps.clock.now())
  if (!taken) return false
  await tx.offers.move(offer.id, ['open', 'waiting'], 'accepted', { chosen: choice })
  await moveVisit(tx, deps, about, taken, by)
  if (by === 'patient') await openFollowUp(tx, deps, about, 'visit-moved', { from: about.booking.visitAt.toISOString(), to: taken.startsAt.toISOString() })
  return true
}

/** The visit takes the new time, the old one becomes an opening, the plan is made anew, she is told. */
async function moveVisit(tx: Tx, deps: Deps, { booking, patient, clinic }: VisitContext, to: Slot, by: string): Promise<void> {
  const time = { visitAt: to.startsAt, clinician: to.clinician, moves: booking.moves + 1 }
  const moved: Booking = { ...booking, ...time, confirmedAt: null, shortNotice: false, lapses: [] }
  await tx.slots.free(booking.id, booking.visitAt)
  await tx.slots.release(booking.id)
  // First: the plan for the new time may open calls of its own.
  await settleFollowUps(tx, deps, booking.id, 'new-time', 'visit moved')
  const planned = await makePlan(tx, deps, { booking: moved, patient, clinic, confirm: false })
  await tx.messages.insert([newAnswer(deps, { booking: planned.booking, patient, clinic }, 'moved')])
  await noteEvent(tx, deps, booking.id, 'moved', by, { from: booking.visitAt.toISOString(), to: to.startsAt.toISOString() })
  deps.notice('moved', { booking: booking.id })
}

/** The desk's word on a choice that waits for it. @throws not-found, too-late */
export async function settleMove(deps: Deps, offerId: string, approve: boolean, by: string): Promise<void> {
  await deps.store.transact(async (tx) => {
    const offer = orNotFound(await tx.offers.get(offerId), 'offer')
    const about = await loadVisit(tx, await tx.bookings.lock(offer.bookingId))
    const current = await tx.offers.get(offerId)
    if (current?.state !== 'waiting' || current.chosen === null) throw new Failure('too-late', { message: 'This choice is no longer waiting for approval.' })
    await closeApproval(tx, deps, current, approve ? 'move approved' : 'move declined', by)
    if (approve && (await carryOutMove(tx, deps, about, current, current.chosen, by))) return
    await tx.offers.move(offerId, ['waiting'], 'declined')
    await noteEvent(tx, deps, about.booking.id, 'move-declined', by, { offer: offerId })
    await tx.slots.release(about.booking.id)
    await tx.messages.insert([newAnswer(deps, about, 'cannot-offer')])
    await leaveMoveToDesk(tx, deps, about, current.reason)
  })
  await enqueueDue(deps)
}
