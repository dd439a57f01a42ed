import type { Message } from '../../domain/messages/message.ts'
import { afterOutcome, type NextStep } from '../../domain/messages/retry.ts'
import { callStep } from './call-step.ts'
import { fallBack } from './fall-back.ts'
import type { SendOutcome } from '../ports/gateway.ts'
import { subjectOf } from '../lookups.ts'
import { aboutLoss, lossOf, mustBeTold } from './leave-to-person.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'
import { idsOf } from './new-message.ts'
import { noteEvent } from '../visits/note-event.ts'
import { openFollowUp } from '../calls/follow-ups.ts'
import { applyReceipt } from './take-receipt.ts'

/** One attempt with what became of it. `message.attempt` tells it from an earlier or later one. */
export interface Attempted {
  message: Message
  outcome: SendOutcome
}

/** Writes down what became of many attempts; for each, in order, the job to enqueue if it will be tried again. */
export async function recordOutcomes(tx: Tx, deps: Deps, attempts: readonly Attempted[]): Promise<(SendJob | null)[]> {
  await recordAcceptances(tx, deps, attempts)
  const jobs = new Map<Attempted, SendJob | null>()
  for (const attempt of inOrderOfVisits(attempts)) {
    if (attempt.outcome.kind === 'accepted') continue
    jobs.set(attempt, await recordOutcome(tx, deps, attempt))
  }
  return attempts.map((attempt) => jobs.get(attempt) ?? null)
}

/** As visits are locked everywhere, so that nobody waits in a circle. */
function inOrderOfVisits(attempts: readonly Attempted[]): Attempted[] {
  const visit = ({ message }: Attempted) => message.bookingId ?? ''
  return [...attempts].sort((a, b) => (visit(a) < visit(b) ? -1 : 1))
}

async function recordAcceptances(tx: Tx, deps: Deps, attempts: readonly Attempted[]): Promise<void> {
  const accepted = attempts.flatMap(({ message, outcome }) =>
    outcome.kind === 'accepted'
      ? [
          {
            id: message.id,
            bookingId: message.bookingId,
            attempt: message.attempt,
            gateway: message.gateway,
            ref: outcome.ref ?? null,
          },
        ]
      : [],
  )
  if (accepted.length === 0) return
  const known = new Map(accepted.filter(({ ref }) => ref !== null).map((each) => [`${each.gateway} ${each.ref}`, each]))
  const [sent, early] = await Promise.all([
    tx.dispatch.accept(accepted, deps.clock.now()),
    tx.dispatch.takeEarlyReceipts([...known.values()].map(({ gateway, ref }) => ({ gateway, ref: ref! }))),
  ])
  for (const message of accepted.filter(({ id }) => sent.includes(id))) deps.notice('message-sent', idsOf(message))
  for (const receipt of early) {
    await applyReceipt(tx, deps, known.get(`${receipt.gateway} ${receipt.ref}`)!, receipt)
  }
}

/** Anything but an acceptance: tried again, or given up. */
async function recordOutcome(tx: Tx, deps: Deps, { message, outcome }: Attempted): Promise<SendJob | null> {
  const code = 'code' in outcome ? outcome.code : null
  const onUnknown = deps.gateways.get(message.gateway)?.onUnknown ?? 'ask-desk'
  const step = (await callStep(tx, deps, message, code)) ?? afterOutcome(outcome, message, deps.clock.now(), onUnknown)
  if (step.state === 'sent') return null
  if (!(await isThisAttempt(tx, message))) return null
  if (step.state === 'queued') return requeue(tx, deps, message, step, outcome)
  // Too late to be sent again, but it may have been sent: not the same as expired, which says that it was not.
  const end =
    step.state === 'expired' && outcome.kind === 'unknown'
      ? ({ state: 'undelivered', tell: 'send-unknown' } as const)
      : step
  await tx.messages.move(message.id, ['sending'], end.state, { code, endedAt: deps.clock.now() })
  deps.notice(`message-${end.state}`, idsOf(message))
  if (end.tell) await tellDesk(tx, deps, message, end.tell)
  if (end.state !== 'undelivered') await fallBack(tx, deps, message)
  return null
}

/** Somebody else may have taken the message over, or a receipt may have settled it. */
async function isThisAttempt(tx: Tx, { id, attempt }: Message): Promise<boolean> {
  const now = await tx.messages.lock(id)
  return now?.state === 'sending' && now.attempt === attempt
}

async function requeue(
  tx: Tx,
  deps: Deps,
  message: Message,
  step: Extract<NextStep, { state: 'queued' }>,
  outcome: SendOutcome,
): Promise<SendJob> {
  const code = 'code' in outcome ? outcome.code : null
  await tx.messages.move(message.id, ['sending'], 'queued', { sendAt: step.at, claimedAt: null, code })
  deps.notice('message-again', { ...idsOf(message), ...(code && { code }) })
  // The first may have arrived after all: whoever wonders about two texts finds out here why.
  if (outcome.kind === 'unknown')
    await noteEvent(tx, deps, message.bookingId, 'sent-again', 'daysix', {
      message: message.id,
      attempt: message.attempt,
    })
  return { messageId: message.id, revision: message.revision, attempt: message.attempt, at: step.at }
}

async function tellDesk(
  tx: Tx,
  deps: Deps,
  message: Message,
  reason: 'send-unknown' | NonNullable<Extract<NextStep, { tell?: unknown }>['tell']>,
): Promise<void> {
  // A text of the desk, or word that a visit is cancelled, is not settled by what becomes of the visit.
  const lost = lossOf(message) === 'text-lost' ? 'text-lost' : reason
  const why = lost === 'send-unknown' && !mustBeTold(message) ? 'courtesy-unknown' : lost
  await openFollowUp(tx, deps, await subjectOf(tx, message), why, aboutLoss(message))
}
