import { planFacts } from '../preparation/plan-facts.ts'
import { homeZone } from '../../domain/patients/home-zone.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import { minutesOf } from '../../domain/visits/duration.ts'
import type { CalendarDate } from '../../domain/preparation/cycle/history.ts'
import type { Purpose } from '../../domain/visits/purpose.ts'
import { consentEnd } from '../../domain/patients/consent.ts'
import { withinConsent } from '../../domain/preparation/within-consent.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { ToldReach } from '../../domain/patients/how-reached.ts'
import type { Obstacle } from '../../domain/patients/unreachable.ts'
import { obstacleTo, whoItWouldBe } from '../patients/preview-reach.ts'
import { planMessages } from '../../domain/preparation/plan.ts'
import type { PlanWarning } from '../../domain/preparation/plan-warnings.ts'
import { measureSms, type SmsMeasure } from '../../domain/messages/texts/sms.ts'
import type { Message } from '../../domain/messages/message.ts'
import { judgeBooking, type JudgedVisit } from './judge-booking.ts'
import { protocolOf } from '../lookups.ts'
import { question } from '../preparation/what-to-ask.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Deps } from '../ports/deps.ts'
import { newBooking } from './new-booking.ts'
import { newMessage } from '../messages/new-message.ts'
import { renderMessage } from '../messages/render-message.ts'

const WEEK_MS = 7 * 86_400_000

/** A visit that is being talked about and not yet booked. */
export interface Proposal {
  clinic: Clinic
  clinician: string
  protocol: string
  visitAt: Date
  zone: string
  minutes?: number | undefined
  purpose?: Purpose
  dueBy?: CalendarDate | null
  /** `phone` is empty until it is known. */
  patient: Omit<Patient, 'id' | 'channel' | 'detail' | 'reach' | 'email' | 'receiver'>
  /** As the booking would tell it. */
  reach: ToldReach
  /** Whoever reads the messages agrees now, until that day or without an end; null = not. */
  agrees: { until: CalendarDate | null } | null
}

/** What booking it would mean. */
export interface Preview extends JudgedVisit {
  /** Somebody else has or holds some of this time. */
  taken: boolean
  texts: {
    kind: Message['kind']
    confirms: boolean
    channel: Message['channel']
    sendAt: Date
    text: string
    draft: boolean
    measure: SmsMeasure | null
  }[]
  warnings: PlanWarning[]
  /** Why nothing of it would be sent; null = it would. */
  obstacle: Obstacle | null
}

/** Works out what booking a visit would mean, without keeping anything. */
export async function previewVisit(deps: Deps, proposal: Proposal): Promise<Preview> {
  const { clinic } = proposal
  const { patient, consents } = await whoItWouldBe(deps, proposal)
  const about = { booking: draftOf(deps, proposal), patient, clinic }
  const { texts, warnings } = await plannedTexts(deps, about, consents)
  return {
    obstacle: await obstacleTo(deps, about, consents),
    ...(await judgeBooking(deps.store.read, deps, about)),
    taken: await isTaken(deps, about.booking),
    texts,
    warnings,
  }
}

/** The visit as it would be booked. */
export function draftOf(
  deps: Deps,
  { clinic, patient: _patient, reach: _reach, agrees: _agrees, minutes: own, ...proposal }: Proposal,
): Booking {
  const { visitMinutes } = protocolOf(deps, proposal.protocol)
  return newBooking({
    ...proposal,
    minutes: minutesOf({ own, clinic: clinic.settings.visitMinutes, protocol: visitMinutes }),
    id: deps.newId('b'),
    patientId: '',
    clinicId: clinic.id,
    createdAt: deps.clock.now(),
  })
}

async function plannedTexts(
  deps: Deps,
  { booking, patient, clinic }: VisitContext,
  consents: readonly Consent[],
): Promise<Pick<Preview, 'texts' | 'warnings'>> {
  const now = deps.clock.now()
  const protocol = protocolOf(deps, booking.protocol)
  const zone = homeZone({ booking, patient, clinic })
  const whole = planMessages({
    ...planFacts({ booking, patient, clinic }, protocol, now),
    ask: question(patient, booking, protocol, now),
    done: [],
    others:
      patient.phone === ''
        ? []
        : await deps.store.read.messages.unsolicitedTo(patient.phone, new Date(now.getTime() - WEEK_MS), null),
  })
  const end = consentEnd(patient, consents, patient.channel) ?? null
  const { messages, warnings } = withinConsent(whole, end, zone, false)
  const texts = messages.map((planned) => {
    const message = newMessage(deps, { clinic, patient, booking }, { ...planned, revision: 0 })
    const { text, subject, state } = renderMessage(deps, message, { booking, patient, clinic, zone: booking.zone })
    const measure = message.channel === 'sms' ? measureSms(text) : null
    return {
      kind: message.kind,
      confirms: message.confirms,
      channel: message.channel,
      sendAt: message.sendAt,
      text: subject === undefined ? text : `${subject}\n\n${text}`,
      draft: state === 'draft',
      measure,
    }
  })
  return { texts, warnings }
}

function isTaken({ store, clock }: Deps, booking: Booking): Promise<boolean> {
  return store.read.slots.isBusy({ ...booking, startsAt: booking.visitAt }, booking, clock.now())
}
