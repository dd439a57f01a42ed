import type { Channel } from '../../domain/messages/texts/kinds.ts'
import { whyUnreachable, type Approach, type Obstacle } from '../../domain/patients/unreachable.ts'
import type { Records } from '../ports/deps.ts'

/** Why this patient may not be written to at that time, by the usual channel or another one; null = may. */
export async function unreachableBy(
  records: Records,
  { patient, clinic, booking }: Pick<Approach, 'patient' | 'clinic' | 'booking'>,
  at: Date,
  channel: Channel = patient.channel,
): Promise<Obstacle | null> {
  const [optOut, consents] = await Promise.all([
    records.optOuts.get(patient.phone),
    records.patients.consents(patient.id),
  ])
  return whyUnreachable({ patient, clinic, booking, refused: optOut?.reason ?? null, consents, channel, at })
}
