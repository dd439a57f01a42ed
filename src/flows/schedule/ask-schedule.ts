import type { Booking } from '../../domain/visits/booking.ts'
import { needsOfVisits } from '../../domain/schedule/needs.ts'
import { currentId } from '../../domain/schedule/our-view.ts'
import { keyFrom } from '../../domain/schedule/schedule-news.ts'
import { valuesOf } from '../../domain/schedule/register.ts'
import type { Deps, Tx } from '../ports/deps.ts'

/** Of which schedule a visit is, and what its appointment is called there. */
export interface Linked {
  feed: string
  key: string
}

/**
 * Asks whoever keeps the schedule to move an appointment: put by, to be told by `tellSchedules`. Nothing where nobody
 * described how it is told: then the call list says it alone.
 */
export async function askSchedule(tx: Tx, deps: Deps, booking: Booking, linked: Linked, to: Date): Promise<void> {
  const feed = deps.feeds.get(linked.feed)
  if (!feed?.tell) return
  // Not locked: whoever takes its news locks the feed first, and then the visit.
  const { known } = await tx.feeds.look(feed.name, needsOfVisits([linked.key]))
  const visit = valuesOf(known.visits.get(linked.key) ?? {})
  const patient = visit.patient === undefined ? undefined : known.patients.get(currentId(known, visit.patient))
  const person = valuesOf(patient ?? {})
  const { places = [], clinicians = [], types = [] } = visit
  await tx.feeds.putBy(booking.id, {
    ...{ id: deps.newId('s'), feed: feed.name, key: keyFrom(linked.key) },
    ...{ from: booking.visitAt, to, minutes: booking.minutes, madeAt: deps.clock.now() },
    ...{ places, clinicians, types, patientIds: person.ids ?? [], patientName: person.name ?? '' },
  })
}
