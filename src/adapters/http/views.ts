import type { Booking } from '../../domain/visits/booking.ts'
import type { Offer } from '../../domain/visits/offer.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { FORECAST_CAUTION } from '../../domain/preparation/cycle/forecast.ts'
import type { VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import type { CycleWindow } from '../../domain/preparation/cycle/windows.ts'
import type { WeighedOpening } from '../../domain/visits/choose-openings.ts'
import type { CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { HistoryFault } from '../../domain/preparation/cycle/evidence.ts'
import type { FollowUp } from '../../domain/calls/follow-up.ts'
import { onTheLine } from '../../domain/calls/on-the-line.ts'
import { whatToDo } from '../../domain/calls/words-to-say.ts'
import { FOLLOW_UP_REASONS } from '../../domain/calls/follow-up-reasons.ts'
import { withOffset } from '../../domain/local-time.ts'
import type { Message } from '../../domain/messages/message.ts'
import type { PrepPlan } from '../../domain/preparation/plan.ts'
import type { PrepStatus } from '../../domain/preparation/prep-status.ts'
import type { VisitEvent } from '../../flows/ports/deps.ts'

/** What the API answers, in the API's own shapes. Instants are local with offset. */

/** Shown wherever a forecast is. */
export const CAUTION = `${FORECAST_CAUTION} Local protocol and licensed practice prevail.`

export function bookingView(booking: Booking, patient: Patient, standing?: PrepStatus) {
  return {
    id: booking.id,
    clinic: booking.clinicId,
    clinician: booking.clinician,
    protocol: booking.protocol,
    visit: withOffset(booking.visitAt, booking.zone),
    minutes: booking.minutes,
    zone: booking.zone,
    state: booking.state,
    patient: patientView(patient),
    cycle: cycleView(patient.cycle),
    confirmed: booking.confirmedAt !== null,
    shortNotice: booking.shortNotice,
    purpose: booking.purpose,
    dueBy: booking.dueBy,
    lapses: booking.lapses,
    needs: booking.needs,
    outcome: booking.outcome && {
      kind: booking.outcome.kind,
      because: booking.outcome.because,
      at: withOffset(booking.outcome.at, booking.zone),
      by: booking.outcome.by,
    },
    ...(standing && { preparation: standing }),
    createdAt: withOffset(booking.createdAt, booking.zone),
  }
}

function patientView(patient: Patient) {
  const {
    id,
    name,
    phone,
    birthDate,
    ownNumber,
    language,
    channel,
    detail,
    zone,
    reach = 'both',
    email = null,
  } = patient
  const second = { ...(birthDate !== undefined && { birthDate }), ...(ownNumber !== undefined && { ownNumber }) }
  const way = { language, channel, detail, reach, email, receiver: receiverView(patient) }
  return { id, name, phone, ...second, ...way, ...(zone !== undefined && { zone }) }
}

function receiverView({ receiver }: Patient) {
  if (!receiver) return null
  const { relation, name, fullDetail } = receiver
  return { relation, name, fullDetail }
}

function cycleView({ status, lmp, ...rest }: CycleHistory) {
  return { lmp: status === 'cycling' ? lmp : status, ...rest }
}

export function timingView(
  { keep, why, unsure, reason, forecast }: VisitJudgement,
  windows: readonly CycleWindow[],
  doubts: readonly HistoryFault[] = [],
) {
  const { cycleDay, avoidProbability, bleedingProbability, rating } = forecast
  return {
    keep,
    why,
    unsure,
    rating,
    cycleDay,
    avoidProbability,
    bleedingProbability,
    reason,
    windows,
    doubts,
    caution: CAUTION,
  }
}

/** An opening with what it is worth to the patient; `rank` 1 = best. */
export function openingView({ opening, avoidProbability, cycleDay, rank }: WeighedOpening<Slot>, zone: string) {
  return { ...slotView(opening, zone), avoidProbability, cycleDay, rank }
}

export function slotView(slot: Slot, zone: string) {
  const { id, clinician, startsAt, minutes, state, heldUntil } = slot
  return {
    id,
    clinic: slot.clinicId,
    clinician,
    at: withOffset(startsAt, zone),
    ...(minutes !== null && { minutes }),
    state,
    ...(heldUntil && { heldUntil: withOffset(heldUntil, zone) }),
  }
}

export function planView({ messages, warnings }: PrepPlan, zone: string) {
  return {
    messages: messages.map(({ kind, sendAt, notAfter }) => ({
      kind,
      sendAt: withOffset(sendAt, zone),
      notAfter: withOffset(notAfter, zone),
    })),
    warnings,
  }
}

export function messageView(message: Message, zone: string) {
  const at = (date: Date | null) => (date === null ? null : withOffset(date, zone))
  const { id, kind, channel, language, state, text, code } = message
  return {
    id,
    kind,
    channel,
    language,
    state,
    sendAt: at(message.sendAt),
    notAfter: at(message.notAfter),
    sentAt: at(message.sentAt),
    endedAt: at(message.endedAt),
    text,
    code,
  }
}

export function offerView({ id, state, choices, chosen, until }: Offer, zone: string) {
  return { id, state, choices: choices.map(({ at }) => withOffset(at, zone)), chosen, until: withOffset(until, zone) }
}

/** @param patient whom it is about, where that is known */
export function followUpView(followUp: FollowUp, now: Date, patient: Patient | null) {
  const { id, reason, clinicId, bookingId, patientId, phone, detail, openedAt, closedAt, closedBy, outcome } = followUp
  const { urgency } = FOLLOW_UP_REASONS[reason]
  const ageMinutes = Math.floor(((closedAt ?? now).getTime() - openedAt.getTime()) / 60_000)
  const closed = closedAt === null ? null : { at: closedAt.toISOString(), by: closedBy, outcome }
  return {
    id,
    reason,
    urgency,
    todo: whatToDo(reason, patient),
    onTheLine: patient && onTheLine(patient),
    clinic: clinicId,
    booking: bookingId,
    patient: patientId,
    phone,
    detail,
    openedAt: openedAt.toISOString(),
    ageMinutes,
    closed,
  }
}

export function eventView({ at, what, by, facts }: VisitEvent, zone: string) {
  return { at: withOffset(at, zone), what, by, facts }
}
