import type { Booking } from '../../domain/visits/booking.ts'
import { currentId } from '../../domain/schedule/our-view.ts'
import { keyFrom } from '../../domain/schedule/schedule-news.ts'
import { valuesOf } from '../../domain/schedule/register.ts'
import type { Deps, Tx } from '../ports/deps.ts'

/**
 * Asks whoever keeps the schedule to move an appointment: put by, to be told by `tellSchedules`. Nothing where the
 * visit is none of a schedule's, or nobody described how it is told: then the call list says it alone.
 */
export async function askSchedule(tx: Tx, deps: Deps, booking: Booking, to: Date): Promise<void> {
  const linked = await tx.feeds.ofBooking(booking.id)
  const feed = linked && deps.feeds.get(linked.feed)
  if (!linked || !feed?.tell) return
  // Not locked: whoever takes its news locks the feed first, and then the visit.
  const { known } = await tx.feeds.look(feed.name, { ...NOTHING, visits: [linked.key] })
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

const NOTHING = {
  ...{ visits: [], series: [], wholeSeries: [], patients: [], wholePatients: [], within: [], messages: [] },
}
