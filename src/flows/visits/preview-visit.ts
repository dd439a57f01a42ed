import type { Booking } from '../../domain/visits/booking.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import { planMessages, type PlanWarning } from '../../domain/preparation/plan.ts'
import { measureSms, type SmsMeasure } from '../../domain/messages/texts/sms.ts'
import type { Message } from '../../domain/messages/message.ts'
import { betterOpenings, judgeBooking } from './judge-booking.ts'
import { protocolOf } from '../lookups.ts'
import { question } from '../preparation/make-plan.ts'
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
  /** `phone` is empty until it is known. */
  patient: Omit<Patient, 'id'>
}

/** What booking it would mean. */
export interface Preview {
  judgement: VisitJudgement
  openings: Slot[]
  /** Somebody else has or holds this very time. */
  taken: boolean
  texts: { kind: Message['kind']; channel: Message['channel']; sendAt: Date; text: string; draft: boolean; measure: SmsMeasure | null }[]
  warnings: PlanWarning[]
}

/** Works out what booking a visit would mean, without keeping anything. */
export async function previewVisit(deps: Deps, proposal: Proposal): Promise<Preview> {
  const about = { booking: draftOf(deps, proposal), patient: { id: '', ...proposal.patient }, clinic: proposal.clinic }
  const judgement = judgeBooking(deps, about.booking, about.patient.cycle)
  const { texts, warnings } = await plannedTexts(deps, about)
  return {
    judgement,
    openings: judgement.keep && !judgement.unsure ? [] : await betterOpenings(deps.store.read, deps, about, false),
    taken: await isTaken(deps, about.booking),
    texts,
    warnings,
  }
}

function draftOf(deps: Deps, { clinic, clinician, protocol, visitAt, zone }: Proposal): Booking {
  const now = deps.clock.now()
  return newBooking({ id: deps.newId('b'), patientId: '', clinicId: clinic.id, clinician, protocol, visitAt, zone, createdAt: now })
}

async function plannedTexts(deps: Deps, { booking, patient, clinic }: VisitContext): Promise<Pick<Preview, 'texts' | 'warnings'>> {
  const now = deps.clock.now()
  const protocol = protocolOf(deps, booking.protocol)
  const { messages, warnings } = planMessages({
    visit: booking.visitAt,
    zone: booking.zone,
    now,
    hours: clinic.settings.hours,
    prepHours: protocol.prepHours,
    ask: question(patient, booking, protocol, now),
    done: [],
    others: patient.phone === '' ? [] : await deps.store.read.messages.unsolicitedTo(patient.phone, new Date(now.getTime() - WEEK_MS), null),
  })
  const texts = messages.map((planned) => {
    const message = newMessage(deps, { clinic, patient, booking }, { ...planned, revision: 0 })
    const { text, state } = renderMessage(deps, message, { booking, patient, clinic, zone: booking.zone })
    const measure = message.channel === 'sms' ? measureSms(text) : null
    return { kind: message.kind, channel: message.channel, sendAt: message.sendAt, text, draft: state === 'draft', measure }
  })
  return { texts, warnings }
}

async function isTaken(deps: Deps, { clinicId, clinician, visitAt }: Booking): Promise<boolean> {
  const to = new Date(visitAt.getTime() + 1)
  const there = await deps.store.read.slots.list({ clinicId, from: visitAt, to, limit: 20 })
  const now = deps.clock.now()
  return there.some((slot) => slot.clinician === clinician && (slot.state === 'taken' || (slot.state === 'held' && slot.heldUntil! > now)))
}
