import type { z } from 'zod'
import { badInput } from '../../../../domain/failure.ts'
import type { Slot } from '../../../../domain/visits/slot.ts'
import { orNotFound } from '../../../../flows/lookups.ts'
import type { Deps } from '../../../../flows/ports/deps.ts'
import { communicationOf } from '../../../schedule/fhir/emit/communication.ts'
import { fromFhirId } from '../../../schedule/fhir/emit/fhir-id.ts'
import { slotOf } from '../../../schedule/fhir/emit/slot.ts'
import { taskOf } from '../../../schedule/fhir/emit/task.ts'
import { clinicsNamed } from './address.ts'
import { outcomeOf } from './outcomes.ts'
import type { Found, slotQuery, taskQuery } from './queries.ts'
import { codesIn, intervalOf, readCursor, writeCursor } from './search.ts'

const SLOT_STATES = ['free', 'busy', 'busy-tentative'] as const

/** Times of one clinic, free or not. */
export async function slots(deps: Deps, query: z.infer<typeof slotQuery>): Promise<Found> {
  const now = deps.clock.now()
  const [clinicId = badInput('location', 'Name a clinic by its id.')] = clinicsNamed(query.location)
  const clinic = orNotFound(await deps.store.read.clinics.get(clinicId), 'clinic')
  const wanted = codesIn(query.status, SLOT_STATES, 'status')
  const { from = now, to } = intervalOf(query.start, clinic.zone, 'start')
  const after = query._cursor === undefined ? null : readCursor(query._cursor)
  // Several may begin at one instant: those of it that were told are passed over.
  const before = after?.ids ?? []
  const rows = await deps.store.read.slots.list({
    ...{ clinicId, from: after?.at ?? from, ...(to && { to }), limit: query._count + 1 + before.length },
  })
  const left = rows.filter(({ id }) => !before.includes(id))
  const page = left.slice(0, query._count)
  const place = { id: clinic.id, name: clinic.name, minutes: clinic.settings.visitMinutes }
  const found = page.map((slot) => slotOf(slot, place, now))
  return {
    found: found.filter(({ status }) => wanted?.some((each) => each === status) ?? true),
    cursor: left.length > page.length ? cursorAfter(page, after) : undefined,
  }
}

function cursorAfter(page: readonly Slot[], before: { at: Date; ids: string[] } | null): string {
  const { startsAt } = page.at(-1)!
  const same = page.filter((each) => each.startsAt.getTime() === startsAt.getTime()).map(({ id }) => id)
  const earlier = before?.at.getTime() === startsAt.getTime() ? before.ids : []
  return writeCursor(startsAt, [...earlier, ...same])
}

/** Messages of one visit. */
export async function communications(deps: Deps, about: string): Promise<Found> {
  const [, id] = /^(?:.*\/)?Appointment\/([^/]+)$/.exec(about) ?? badInput('about', 'Name one, as Appointment/id.')
  const booking = orNotFound(await deps.store.read.bookings.get(fromFhirId(id!)), 'Appointment')
  const messages = await deps.store.read.messages.ofBooking(booking.id)
  const numbers = [...new Set(messages.map(({ phone }) => phone))]
  const refusals = await Promise.all(numbers.map((phone) => deps.store.read.optOuts.get(phone)))
  // That a number is somebody else's is no objection of the patient's.
  const objected = (phone: string) => {
    const refusal = refusals[numbers.indexOf(phone)]
    return refusal?.reason === 'stop' ? refusal.at : null
  }
  return {
    found: messages.map((each) => communicationOf({ ...each, bookingId: booking.id }, objected(each.phone))),
  }
}

/** Open calls, most urgent and oldest first. */
export async function tasks(deps: Deps, query: z.infer<typeof taskQuery>): Promise<Found> {
  const [clinicId] = clinicsNamed(query.location)
  if (clinicId !== undefined) orNotFound(await deps.store.read.clinics.get(clinicId), 'clinic')
  const [list, clinics] = await Promise.all([
    deps.store.read.followUps.list({
      ...(clinicId !== undefined && { clinicId }),
      ...{ open: true, limit: query._count + 1 },
    }),
    deps.store.read.clinics.list(),
  ])
  const placed = new Map(clinics.map((each) => [each.id, each]))
  const page = list.slice(0, query._count)
  const more = outcomeOf('warning', 'incomplete', `There are more than these ${page.length}: see the call list.`)
  return {
    found: page.map((each) => taskOf(each, placed.get(each.clinicId ?? '') ?? null)),
    ...(list.length > page.length && { outcome: more }),
  }
}
