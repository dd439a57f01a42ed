import { decideForNumber } from '../domain/replies/decide.ts'
import type { Reading } from '../domain/replies/reading.ts'
import { sayToNumber, type Done, type Hearing } from './hearing.ts'
import { makePlan } from './make-plan.ts'
import { overtake } from './move-visit.ts'
import type { Deps, Tx } from './ports.ts'
import { note, openFollowUp } from './records-made.ts'

/** Does what follows from a reply that concerns the number. */
export async function forNumber(tx: Tx, deps: Deps, hearing: Hearing, reading: Reading): Promise<Done> {
  const { reply, patients, talks } = hearing
  const effects = decideForNumber(reading)
  const talk = talks[0]
  for (const effect of effects) {
    if (effect.do === 'opt-out') await optOut(tx, deps, hearing)
    if (effect.do === 'opt-in') await optIn(tx, deps, hearing)
    if (effect.do === 'say') await sayToNumber(tx, deps, hearing, effect.kind)
    if (effect.do === 'follow-up') {
      const about = { clinic: talk?.clinic ?? null, patient: talk?.patient ?? patients[0] ?? null, booking: talk?.booking ?? null }
      await openFollowUp(tx, deps, { ...about, phone: reply.phone }, effect.reason, { words: reply.text })
    }
  }
  return { bookingId: talk?.booking.id ?? null, done: effects[0]?.do === 'say' ? effects[0].kind : reading.meaning }
}

/** Everything ends at once, also what is already queued; her openings go back. */
async function optOut(tx: Tx, deps: Deps, { reply, talks }: Hearing): Promise<void> {
  await tx.optOuts.add(reply.phone, deps.clock.now())
  await tx.messages.withdrawUnsent({ phone: reply.phone }, 'opted-out', deps.clock.now())
  for (const { booking } of talks) {
    await overtake(tx, booking.id)
    await note(tx, deps, booking.id, 'opted-out', 'patient')
  }
  deps.notice('opted-out', { reply: reply.id })
}

/** Writing START is consent, in her own words. */
async function optIn(tx: Tx, deps: Deps, { reply, patients, talks }: Hearing): Promise<void> {
  await tx.optOuts.remove(reply.phone)
  const consent = { channel: 'sms', recordedBy: 'patient', recordedAt: reply.receivedAt, wording: reply.text.slice(0, 100) } as const
  for (const { id } of patients) await tx.patients.addConsent(id, consent)
  for (const talk of talks) await makePlan(tx, deps, { ...talk, confirm: false })
}
