import type { Feed } from '../../domain/schedule/feed.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { KnownHere } from '../ports/schedule.ts'
import { closeFollowUps, openCall, openFollowUp } from '../calls/follow-ups.ts'
import { loadVisit } from '../lookups.ts'

export interface Held {
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
  const { key } = held
  const bookingId = key === null ? undefined : here.bookings.get(key)
  const detail = { why: heldWords(feed, held), feed: feed.name }
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

/** As the call list says it. */
export function heldWords({ name }: Pick<Feed, 'name'>, { key, why }: Pick<Held, 'key' | 'why'>): string {
  const appointment = key?.split('^')[0] ?? ''
  return appointment === '' ? why : `Appointment ${appointment} of the schedule “${name}”: ${why}`
}

/** Whether the open call about a visit that is not booked says just this, or a person has closed it. */
export async function isSaid(tx: Tx, feed: Feed, here: KnownHere, held: Held & { key: string }): Promise<boolean> {
  const call = here.calls.get(held.key)
  if (here.bookings.has(held.key) || call === undefined) return true
  const followUp = await tx.followUps.get(call)
  return !followUp || followUp.closedAt !== null || followUp.detail.why === heldWords(feed, held)
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
