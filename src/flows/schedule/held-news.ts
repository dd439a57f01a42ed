import type { Feed } from '../../domain/schedule/feed.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { KnownHere } from '../ports/schedule.ts'
import { closeFollowUps, openCall, openFollowUp } from '../calls/follow-ups.ts'
import { loadVisit } from '../lookups.ts'

interface Held {
  /** The appointment; null for news of people or times. */
  key: string | null
  /** Ours; null = none that is known. */
  clinic: string | null
  why: string
}

/**
 * Puts what a person must look at on the call list: of the visit that is booked, else of the clinic, else of every
 * clinic. The appointment is named by the id that the schedule itself shows, the patient is not.
 */
export async function openHeld(tx: Tx, deps: Deps, feed: Feed, here: KnownHere, held: Held): Promise<void> {
  const { key, why } = held
  const bookingId = key === null ? undefined : here.bookings.get(key)
  const appointment = key?.split('^')[0] ?? ''
  const words = appointment === '' ? why : `Appointment ${appointment} of the schedule “${feed.name}”: ${why}`
  const detail = { why: words, feed: feed.name }
  if (bookingId !== undefined) {
    const about = await loadVisit(tx, await tx.bookings.get(bookingId))
    return openFollowUp(tx, deps, about, 'schedule-unclear', detail)
  }
  // One open call about an appointment is enough: it is said anew, as it stands now.
  if (key !== null) await closeHeld(tx, deps, here, key)
  const clinic = held.clinic === null ? null : ((await tx.clinics.get(held.clinic)) ?? null)
  const id = await openCall(tx, deps, { clinic, patient: null, booking: null }, 'schedule-unclear', detail)
  if (key !== null && id !== undefined) here.calls.set(key, id)
}

/** The schedule has told what was missing, or what holds now: nobody need ask any more. */
export async function closeHeld(tx: Tx, deps: Deps, here: KnownHere, key: string): Promise<void> {
  const told = 'the schedule told more'
  const call = here.calls.get(key)
  if (call !== undefined) await tx.followUps.close(call, 'daysix', told, deps.clock.now())
  here.calls.delete(key)
  here.waits.delete(key)
  const bookingId = here.bookings.get(key)
  if (bookingId !== undefined)
    await closeFollowUps(tx, deps, bookingId, ({ reason }) => reason === 'schedule-unclear', told)
}
