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

export function whenToTell({ clock }: Deps, about: VisitContext): WhenToTell {
  const sendAt = nextAllowed(clock.now(), homeZone(about), about.clinic.settings.hours)
  const notAfter = new Date(Math.min(sendAt.getTime() + DAY_MS, about.booking.visitAt.getTime()))
  return { sendAt, notAfter, isTooLate: sendAt >= notAfter }
}
