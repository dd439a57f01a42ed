import { homeZone } from '../../domain/patients/home-zone.ts'
import type { Message } from '../../domain/messages/message.ts'
import { nextAllowed } from '../../domain/preparation/sending-hours.ts'
import type { Deps } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'

const DAY_MS = 86_400_000

/** When news of the clinic goes to a patient, and until when it is worth something: never after the visit began. */
export interface WhenToTell extends Pick<Message, 'sendAt' | 'notAfter'> {
  /** No sending hours are left before the visit. */
  isTooLate: boolean
}

/** The later of two moments, where there is another. */
export const later = (now: Date, other: Date | undefined): Date => (other && other > now ? other : now)

/** @param notBefore earlier it may change again */
export function whenToTell({ clock }: Deps, about: VisitContext, notBefore?: Date): WhenToTell {
  const sendAt = nextAllowed(later(clock.now(), notBefore), homeZone(about), about.clinic.settings.hours)
  const notAfter = new Date(Math.min(sendAt.getTime() + DAY_MS, about.booking.visitAt.getTime()))
  return { sendAt, notAfter, isTooLate: sendAt >= notAfter }
}
