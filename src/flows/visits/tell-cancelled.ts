import { UNSENT } from '../../domain/messages/message.ts'
import { newMessage } from '../messages/new-message.ts'
import { whenToTell } from '../messages/when-to-tell.ts'
import { SUPERSEDED } from '../messages/refusal.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'

/**
 * Tells the patient that the desk cancelled the visit, within sending hours; where there are none before it, a person
 * does. Whoever may not be written to hears nothing: the desk that cancels has spoken with them.
 */
export async function tellCancelled(tx: Tx, deps: Deps, about: VisitContext, notBefore?: Date): Promise<void> {
  if (about.booking.visitAt <= deps.clock.now()) return
  const { isTooLate, ...when } = whenToTell(deps, about, notBefore)
  if (await unreachableBy(tx, about, when.sendAt)) return
  if (isTooLate) return openFollowUp(tx, deps, about, 'text-lost', { kind: 'cancelled' })
  await tx.messages.insert([newMessage(deps, about, { kind: 'cancelled', ...when, unsolicited: false })])
}

/** The patient has a visit at that very time again: nobody says that it is cancelled. */
export async function withdrawCancelled(tx: Tx, deps: Deps, patientId: string, visitAt: Date): Promise<void> {
  const waiting = await tx.messages.unplanned(patientId)
  const isAbout = waiting.filter((each) => each.kind === 'cancelled' && each.visitAt?.getTime() === visitAt.getTime())
  const facts = { code: SUPERSEDED, endedAt: deps.clock.now() }
  for (const { id } of isAbout) await tx.messages.move(id, UNSENT, 'withdrawn', facts)
}
