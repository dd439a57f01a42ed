import { reaches } from '../../domain/patients/reach.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { newAnswer, newMessage } from '../messages/new-message.ts'
import { whenToTell } from '../messages/when-to-tell.ts'
import { wroteLately } from '../messages/wrote-lately.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'

/**
 * The desk moved the visit: the patient is told within sending hours, or by a person where there are none before the
 * visit.
 */
export async function tellMoved(tx: Tx, deps: Deps, about: VisitContext, notBefore?: Date): Promise<void> {
  return tellLater(tx, deps, about, 'moved', notBefore)
}

/**
 * What the desk decided about a choice of the patient: an answer while the patient waits for it, and news of the clinic
 * days later, which keeps to hours and consent. Who may not be written to stands on the call list already.
 */
export async function tellDecided(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  kind: 'moved' | 'cannot-offer',
): Promise<void> {
  // Whoever takes no texts is told in the usual way.
  if (reaches(about.patient, 'sms') && (await wroteLately(tx, deps, about.patient)))
    return void (await tx.messages.insert([newAnswer(deps, about, kind)]))
  if (!(await unreachableBy(tx, about, deps.clock.now()))) await tellLater(tx, deps, about, kind)
}

async function tellLater(
  tx: Tx,
  deps: Deps,
  about: VisitContext,
  kind: 'moved' | 'cannot-offer',
  notBefore?: Date,
): Promise<void> {
  const { isTooLate, ...when } = whenToTell(deps, about, notBefore)
  if (isTooLate) return openFollowUp(tx, deps, about, 'not-delivered', { kind })
  await tx.messages.insert([newMessage(deps, about, { kind, ...when, unsolicited: false })])
}
