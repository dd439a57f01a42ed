import { currentId } from '../../domain/schedule/our-view.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { overlaid, type Kept } from '../../domain/schedule/known.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { KnownHere } from '../ports/schedule.ts'
import { followPatient, lockVisits } from '../patients/follow-patient.ts'
import { openHeld } from './held-news.ts'

/**
 * Two records of theirs are one person. Here each stays with its visits: which name and number are right a person says.
 * Until then the stricter of both holds: where one has no consent that stands, that of the other does not count either.
 */
export async function joinPatients(tx: Tx, deps: Deps, feed: Feed, here: KnownHere, kept: Kept): Promise<void> {
  const after = overlaid(here.known, kept)
  const into = kept.patients[0]?.[0]
  const mine = [...here.known.visits].filter(([, { patient }]) => patient && currentId(after, patient.value) === into)
  const visits = mine.flatMap(([key]) => {
    const bookingId = here.bookings.get(key)
    return bookingId === undefined ? [] : [{ key, bookingId }]
  })
  const bookings = await tx.bookings.many(visits.map(({ bookingId }) => bookingId))
  const patients = [...new Set(bookings.map(({ patientId }) => patientId))]
  if (patients.length < 2) return
  await lockVisits(tx, deps, patients)
  const agreed = await Promise.all(patients.map(async (id) => (await tx.patients.consents(id)).length > 0))
  if (agreed.includes(false))
    for (const [index, id] of patients.entries()) {
      if (!agreed[index]) continue
      await tx.patients.withdrawConsents(id, null, deps.clock.now())
      await followPatient(tx, deps, id)
    }
  const ahead = bookings.find(({ visitAt, state }) => state === 'booked' && visitAt > deps.clock.now())
  const key = ahead && visits.find(({ bookingId }) => bookingId === ahead.id)?.key
  if (key !== undefined) await openHeld(tx, deps, feed, here, { key, clinic: ahead!.clinicId, why: ONE })
}

const ONE =
  'The schedule says that two records are one patient. Look whether name, number and consent of both are the same here.'
