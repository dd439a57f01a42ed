import type { Booking } from '../visits/booking.ts'
import type { Offer } from '../visits/offer.ts'
import type { Patient } from '../patients/patient.ts'
import type { Message } from './message.ts'
import type { TextKind } from './texts/kinds.ts'

/** Answers to whoever wrote from a number: at another number they would answer nobody. */
const ANSWERS_THE_NUMBER: ReadonlySet<TextKind> = new Set([
  'which-visit',
  'unclear',
  'alarm',
  'help',
  'stopped',
  'rejoined',
  'wrong-person',
])

/** Whether a message concerns the number that it goes to, and nobody at another one. */
export const answersTheNumber = ({ kind }: Pick<Message, 'kind'>) => ANSWERS_THE_NUMBER.has(kind)

export const isPreparation = ({ kind }: Pick<Message, 'kind'>) =>
  kind === 'prep' || kind === 'late-prep'

/** A visit as it is now, with the offer of other times that still waits for an answer. */
export interface VisitNow {
  booking: Booking | null
  offer?: Offer | undefined
}

/**
 * Whether what a message says is still so: the visit is booked, and for the time that it names; the
 * times that it offers are on offer. What a person wrote holds whatever becomes of the visit.
 */
export function stillHolds(
  { kind, visitAt, choices }: Pick<Message, 'kind' | 'visitAt' | 'choices'>,
  { booking, offer }: VisitNow,
): boolean {
  if (kind === 'answer' || ANSWERS_THE_NUMBER.has(kind)) return true
  if (booking?.state !== 'booked') return false
  if (kind === 'offer') return offer?.state === 'open' && isOffered(choices, offer)
  if (kind === 'move-asked') return isSame(visitAt, chosenIn(offer))
  return isSame(visitAt, booking.visitAt)
}

const isSame = (a: Date | null | undefined, b: Date | null | undefined) =>
  a instanceof Date && a.getTime() === b?.getTime()

function isOffered(choices: readonly Date[], offer: Offer): boolean {
  const offered = offer.choices.map(({ at }) => at)
  return choices.length === offered.length && choices.every((at, n) => isSame(at, offered[n]))
}

/** The time that the patient chose and the desk has yet to approve. */
function chosenIn(offer: Offer | undefined): Date | undefined {
  if (offer?.state !== 'waiting' || offer.chosen === null) return undefined
  return offer.choices[offer.chosen - 1]?.at
}

type Way = Partial<Pick<Message, 'phone' | 'language' | 'detail' | 'channel'>>

/**
 * How a message goes to the patient by now. Words of a person, and those for a number, stay as they
 * are; an answer is written and a fall-back takes another channel, whatever the usual one is.
 */
export function wayTo(message: Message, { phone, language, detail, channel }: Patient): Way {
  if (message.answer !== null || answersTheNumber(message)) return { phone }
  if (message.prompted || message.fallbackOf !== null) return { phone, language, detail }
  return { phone, language, detail, channel }
}

/** It was made for another number, language, channel or wish for discretion than the patient's. */
export function isElsewhere(message: Message, patient: Patient): boolean {
  const now = Object.entries(wayTo(message, patient))
  return now.some(([field, value]) => message[field as keyof Way] !== value)
}
