import type { Patient } from '../../domain/patients/patient.ts'
import type { Reading } from '../../domain/replies/reading.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { orNotFound } from '../lookups.ts'
import { lockVisits } from '../patients/follow-patient.ts'
import type { Unreachable } from '../../domain/patients/unreachable.ts'
import type { Deps, ReplyEffects, Tx } from '../ports/deps.ts'
import { becauseOf, nearest, type Conversation } from './conversation.ts'
import { becauseAt, effectsOn, UNREACHABLE_BY } from './reply-for-number.ts'

/**
 * Acting on a reply has failed. A refusal and a death that it tells of hold nevertheless: whatever comes due is not
 * sent, and every visit to come is on the call list, without any plan being made. What must not be overlooked is there
 * too.
 */
export async function holdRefusal(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<ReplyEffects> {
  let did: ReplyEffects = {}
  for (const effect of (await effectsOn(tx, hearing, reading)).effects) {
    if (effect.do === 'opt-out') {
      await tx.optOuts.add(hearing.reply.phone, effect.reason, deps.clock.now())
      await callAboutVisits(tx, deps, hearing, hearing.everybody, UNREACHABLE_BY[effect.reason])
    }
    if (effect.do === 'report-death') {
      did = { dead: hearing.patients.map(({ id }) => id) }
      for (const patient of hearing.patients) await tx.patients.update(patient.id, { reportedDead: true })
      await callAboutVisits(tx, deps, hearing, hearing.patients, 'died')
    }
    if (effect.do === 'follow-up')
      await openFollowUp(tx, deps, nearest(hearing), effect.reason, becauseOf(hearing.reply))
  }
  return did
}

async function callAboutVisits(
  tx: Tx,
  deps: Deps,
  hearing: Conversation,
  patients: readonly Patient[],
  why: Unreachable,
): Promise<void> {
  for (const booking of await lockVisits(
    tx,
    deps,
    patients.map(({ id }) => id),
  )) {
    const patient = patients.find(({ id }) => id === booking.patientId)!
    const clinic = orNotFound(await tx.clinics.get(booking.clinicId), 'clinic')
    await openFollowUp(tx, deps, { booking, patient, clinic }, why, becauseAt(hearing, clinic))
  }
}
