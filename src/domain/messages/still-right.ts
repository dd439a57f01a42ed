import type { Booking } from '../visits/booking.ts'
import type { Offer } from '../visits/offer.ts'
import type { Patient } from '../patients/patient.ts'
import type { Message } from './message.ts'
import { MESSAGE_KINDS } from './texts/message-kinds.ts'

/** Whether a message concerns the number that it goes to: at another one it would answer nobody. */
export const answersTheNumber = ({ kind }: Pick<Message, 'kind'>) => MESSAGE_KINDS[kind].about === 'number'

export const isPreparation = ({ kind }: Pick<Message, 'kind'>) => MESSAGE_KINDS[kind].prepares !== null

/**
 * A visit as it is now, with the offer of other times that still waits for an answer; `asked`: the patient was asked
 * whether a period has begun.
 */
export interface VisitNow {
  booking: Booking | null
  offer?: Offer | undefined
  asked?: boolean
}

/**
 * Whether what a message says is still so: the visit is booked, and for the time that it names; the
 * times that it offers are on offer. What a person wrote holds whatever becomes of the visit.
 */
export function stillHolds(
  { kind, visitAt, choices }: Pick<Message, 'kind' | 'visitAt' | 'choices'>,
  { booking, offer, asked = false }: VisitNow,
): boolean {
  const { about } = MESSAGE_KINDS[kind]
  if (about === 'words' || about === 'number') return true
  if (about === 'cancelled') return booking?.state === 'cancelled' && isSame(visitAt, booking.visitAt)
  if (booking?.state !== 'booked') return false
  switch (about) {
    case 'offer':
      return offer?.state === 'open' && isOffered(choices, offer)
    case 'move':
      return isSame(visitAt, chosenIn(offer))
    case 'question':
      return asked && isSame(visitAt, booking.visitAt)
    case 'visit':
      return isSame(visitAt, booking.visitAt)
  }
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
