import { endOf, USUAL_MINUTES } from '../../../../domain/visits/duration.ts'
import { isFree, type Slot } from '../../../../domain/visits/slot.ts'
import { toFhirId } from './fhir-id.ts'
import { instantOf, placeOf, type Written } from './resource.ts'

/** What of a clinic a time needs. */
export interface SlotPlace {
  id: string
  name: string
  /** How long a visit lasts there, where that is said. */
  minutes: number | null
}

/** R4 `Slot`, with its diary contained. Who has it is not told. */
export function slotOf(slot: Slot, place: SlotPlace, now: Date): Written {
  const { id, startsAt, clinician, overbooked, minutes } = slot
  const free = isFree(slot, now)
  const end = (free ? null : slot.endsAt) ?? endOf(startsAt, minutes ?? place.minutes ?? USUAL_MINUTES)
  return {
    resourceType: 'Slot',
    id: toFhirId(id),
    contained: [
      {
        ...{ resourceType: 'Schedule', id: 'diary' },
        actor: [placeOf(place), ...(clinician === '' ? [] : [{ type: 'Practitioner', display: clinician }])],
      },
    ],
    schedule: { reference: '#diary' },
    status: free ? 'free' : slot.state === 'held' ? 'busy-tentative' : 'busy',
    start: instantOf(startsAt),
    end: instantOf(end),
    ...(overbooked && { overbooked }),
  }
}
