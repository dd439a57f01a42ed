import { UNSENT, type Message } from '../../domain/messages/message.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import { answersTheNumber, isElsewhere, isPreparation, wayTo } from '../../domain/messages/still-right.ts'
import { finish } from './claim-messages.ts'
import { contextOf, type MessageContext } from './message-context.ts'
import { SUPERSEDED, refusalOf, type Refusal } from './refusal.ts'
import type { Deps, DispatchContext, Tx } from '../ports/deps.ts'
import { newMessage, whatItSays } from './new-message.ts'

/**
 * Looks anew at what waits for a patient outside the plans: what the desk wrote or told, answers,
 * fall-backs. What is no longer so is withdrawn, what may not go is left to a person, and the rest
 * goes to where the patient is reached now. Runs after whatever changes the patient or a visit.
 */
export async function settleWaiting(tx: Tx, deps: Deps, patientId: string): Promise<void> {
  const waiting = await tx.messages.unplanned(patientId)
  if (waiting.length === 0) return
  const now = deps.clock.now()
  const found = await tx.dispatch.context(waiting, now, now)
  for (const message of waiting) await settle(tx, deps, message, contextOf(message, found), found)
}

async function settle(
  tx: Tx,
  deps: Deps,
  message: Message,
  about: MessageContext,
  found: DispatchContext,
): Promise<void> {
  const { patient, clinic, booking } = about
  if (!patient) return
  const now = { ...message, ...wayTo(message, patient) }
  const refusal = toldElsewhere(message, patient) ?? refusalOf(deps.clock.now(), now, about, found)
  if (refusal) return void (await finish(tx, deps, message, about, refusal))
  if (isElsewhere(message, patient)) await sendAnew(tx, deps, now, { patient, clinic, booking })
}

/** At another number it would answer nobody; or the plan tells the patient there. */
function toldElsewhere(message: Message, { phone }: Patient): Refusal | null {
  if (message.phone === phone) return null
  if (isPreparation(message)) return { state: 'withdrawn', code: SUPERSEDED }
  return answersTheNumber(message) ? { state: 'withdrawn', code: 'readdressed' } : null
}

async function sendAnew(tx: Tx, deps: Deps, message: Message, about: Parameters<typeof newMessage>[1]): Promise<void> {
  const { id, sendAt, prompted, fallbackOf, phone, language, detail, channel } = message
  const facts = { code: 'readdressed', endedAt: deps.clock.now() }
  if (!(await tx.messages.move(id, UNSENT, 'withdrawn', facts))) return
  const way = { sendAt, prompted, fallbackOf, phone, language, detail, channel }
  await tx.messages.insert([newMessage(deps, about, { ...whatItSays(message), ...way })])
}
