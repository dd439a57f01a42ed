import { dateIn } from '../../domain/local-time.ts'
import { SENT_STATES, UNSENT, type Message, type MessageState } from '../../domain/messages/message.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { hasCycles } from '../../domain/preparation/cycle/no-cycle.ts'
import { questionFor } from '../../domain/preparation/cycle/question.ts'
import { againAfter } from '../../domain/preparation/cycle/unanswered.ts'
import type { PlanInput } from '../../domain/preparation/plan.ts'
import { isTo } from '../../domain/preparation/prep-status.ts'
import type { FullProtocol } from '../../domain/preparation/protocol.ts'
import type { Booking } from '../../domain/visits/booking.ts'

/** Nobody knows when the last period began, and it matters. */
export const isLmpUnknown = ({ cycle }: Patient) => cycle.status === 'unknown' && !cycle.lmp

/** What Daysix would like to ask before the visit, and when; null = nothing. */
export function question(
  patient: Patient,
  booking: Booking,
  protocol: FullProtocol,
  now: Date,
  said: Message[] = [],
): PlanInput['ask'] {
  const { cycle } = patient
  if (!hasCycles(cycle) || protocol.avoidDays === null) return null
  if (isLmpUnknown(patient)) return { kind: 'lmp-question' }
  const [visit, asOf] = [booking.visitAt, now].map((at) => dateIn(at, booking.zone))
  const about = { history: cycle, visit: visit!, asOf: asOf!, protocol }
  const asked = saidHere(said, booking, patient).find(({ kind }) => kind === 'cycle-check')
  const on = asked && dateIn(asked.sentAt ?? asked.sendAt, booking.zone)
  const dates = on === undefined ? questionFor(about) : { on, again: againAfter(on, about) }
  return dates && { kind: 'cycle-check', ...dates }
}

/**
 * What has been said, and what waits still when the plan of before is withdrawn: fall-backs, and what
 * came back from its gateway in between.
 */
const WILL_BE_SAID: readonly MessageState[] = [...SENT_STATES, ...UNSENT]

const saidTo = (said: Message[], { phone }: Patient) =>
  said.filter((each) => WILL_BE_SAID.includes(each.state) && isTo(each, phone))

/** For the time at which the visit is now. */
const saidHere = (said: Message[], { visitAt }: Booking, patient: Patient) =>
  saidTo(said, patient).filter((each) => each.visitAt?.getTime() === visitAt.getTime())

/** What is not to be said again to this number: for the same visit time, or ever. */
export function kindsSaid(said: Message[], booking: Booking, patient: Patient, confirm: boolean): TextKind[] {
  const here = saidTo(said, patient)
  const forThisTime = saidHere(said, booking, patient)
  const onceEver = here.filter(({ kind }) => MESSAGE_KINDS[kind].planned?.again === 'never')
  const isConfirmed = !confirm || here.some(({ confirms }) => confirms)
  return [...forThisTime, ...onceEver].map(({ kind }) => kind).concat(isConfirmed ? ['confirmation'] : [])
}
