import type { Booking, Clinic, Patient } from '../domain/booking.ts'
import type { Message } from '../domain/message.ts'
import { readablePhone } from '../domain/phone.ts'
import { markOf } from '../domain/prep/mark.ts'
import { protocolOf } from './lookups.ts'
import type { Deps } from './ports.ts'

/** The words of a message as it would go out now, and whether somebody has approved them. */
export function wordsOf(
  deps: Deps,
  message: Pick<Message, 'kind' | 'language' | 'channel' | 'detail' | 'visitAt' | 'choices' | 'answer'>,
  { booking, patient, clinic, zone }: { booking: Booking | null; patient: Patient | null; clinic: Clinic; zone: string },
): { text: string; state: 'approved' | 'draft' } {
  const protocol = booking && protocolOf(deps, booking.protocol)
  const visit = message.visitAt ?? booking?.visitAt
  const { kind, language, channel, detail } = message
  return deps.render({
    kind,
    language,
    channel,
    detail,
    values: {
      clinic: clinic.name,
      clinicPhone: readablePhone(clinic.phone),
      zone,
      ...(visit && { visit }),
      ...(visit && protocol && { mark: markOf(visit, protocol.prepHours) }),
      ...(protocol && { avoid: protocol.avoid.map(({ what }) => what) }),
      ...(protocol && { periods: patient?.cycle.status !== 'no-periods' && protocol.avoidDays !== null }),
      ...(message.choices.length > 0 && { choices: message.choices }),
      ...(message.answer !== null && { answer: message.answer }),
      ...(booking && { page: deps.pageOf(booking.id) }),
    },
  })
}
