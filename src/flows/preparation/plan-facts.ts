import { homeZone } from '../../domain/patients/home-zone.ts'
import type { PlanInput } from '../../domain/preparation/plan.ts'
import type { Protocol } from '../../domain/preparation/protocol.ts'
import type { VisitContext } from '../visit-context.ts'

/** What a plan rests on, whether the visit is kept or only talked about; not what was said or is to be asked. */
export const planFacts = (
  about: VisitContext,
  { prepHours }: Pick<Protocol, 'prepHours'>,
  now: Date,
): Pick<PlanInput, 'visit' | 'zone' | 'now' | 'hours' | 'prepHours' | 'early'> => ({
  visit: about.booking.visitAt,
  zone: homeZone(about),
  now,
  hours: about.clinic.settings.hours,
  prepHours,
  early: about.patient.channel === 'email',
})
