import { badInput } from '../../domain/failure.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import type { OurPatient, OurVisit } from '../../domain/schedule/our-visit.ts'
import type { Amendment } from '../visits/amend-booking.ts'
import type { BookingRequest, ToldConsent } from '../visits/booking-request.ts'

/** Who is on record for what a schedule told. */
export const byFeed = ({ name }: Pick<Feed, 'name'>): string => `schedule ${name}`

const CONSENT_WORDS = 'Agreed to messages, as the clinic’s schedule says.'

/** A visit of theirs as a booking. The place is theirs to give: somebody else there at that time does not refuse it. */
export function requestOf(visit: OurVisit, feed: Feed, notBefore: Date): BookingRequest {
  const { patient, purpose, dueBy, clinic, clinician, protocol } = visit
  return {
    ...{ clinic, clinician, protocol, purpose, dueBy, overbook: true, notBefore, by: byFeed(feed) },
    ...(visit.minutes !== null && { minutes: visit.minutes }),
    visit: visit.startsAt.toISOString(),
    patient: {
      ...{ name: patient.name, phone: patient.phone, language: languageOf(patient, feed) },
      ...(patient.fixedLine && { reach: 'calls-only' as const }),
      ...(patient.birthDate !== null && { birthDate: patient.birthDate }),
      ...(patient.ownNumber !== null && { ownNumber: patient.ownNumber }),
    },
    cycle: cycleOf(patient, { status: 'unknown' }),
    consent: visit.consent ? consentBy(feed) : null,
  }
}

/** What of a booking is another than it was; what nobody told stays as it is known here. */
export function amendmentOf(was: OurVisit, is: OurVisit, feed: Feed, known: CycleHistory, notBefore: Date): Amendment {
  const differs = <K extends keyof OurVisit>(name: K) => JSON.stringify(was[name]) !== JSON.stringify(is[name])
  const person = <K extends keyof OurPatient>(name: K) =>
    is.patient[name] !== null && JSON.stringify(was.patient[name]) !== JSON.stringify(is.patient[name])
  return {
    ...{ overbook: true, notBefore, by: byFeed(feed) },
    ...(differs('startsAt') && { visit: is.startsAt.toISOString() }),
    ...(differs('minutes') && is.minutes !== null && { minutes: is.minutes }),
    ...(differs('clinician') && { clinician: is.clinician }),
    ...(differs('protocol') && { protocol: is.protocol }),
    ...(differs('purpose') && { purpose: is.purpose }),
    ...(differs('dueBy') && { dueBy: is.dueBy }),
    patient: {
      ...(person('name') && { name: is.patient.name }),
      ...(person('phone') && {
        phone: is.patient.phone,
        ...(is.patient.fixedLine && { reach: 'calls-only' as const }),
      }),
      ...(person('birthDate') && { birthDate: is.patient.birthDate! }),
      ...(person('ownNumber') && { ownNumber: is.patient.ownNumber! }),
      ...(person('language') && { language: is.patient.language! }),
    },
    ...(person('lmp') && { cycle: cycleOf(is.patient, known) }),
    ...(is.consent && !was.consent && { consent: consentBy(feed) }),
  }
}

const consentBy = (feed: Feed): ToldConsent => ({ recordedBy: byFeed(feed), wording: CONSENT_WORDS })

function languageOf({ language }: OurPatient, { usualLanguage }: Feed): string {
  return (
    language ??
    usualLanguage ??
    badInput('language', 'No language that we write in was told: ask, or name the usual one in the feed’s description.')
  )
}

/** A later first day makes what was told of the last period worth nothing. */
function cycleOf({ lmp }: OurPatient, known: CycleHistory): CycleHistory {
  if (!lmp) return known
  const { usualCycleDays, regularity, scheduledBleeds, pastCycleDays, pastStarts, age } = known
  const lasting = { usualCycleDays, regularity, scheduledBleeds, pastCycleDays, pastStarts, age }
  const told = Object.entries(lasting).filter(([, value]) => value !== undefined)
  return {
    ...(Object.fromEntries(told) as Partial<CycleHistory>),
    ...{ status: 'cycling', lmp: lmp.day, ...(lmp.toldOn !== null && { toldOn: lmp.toldOn }) },
  }
}
