import type { Message } from '../../domain/messages/message.ts'
import type { Receipt } from '../ports/gateway.ts'
import { callStep } from './call-step.ts'
import { fallBack } from './fall-back.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { factsOf, idsOf } from './new-message.ts'
import { closeLossCalls } from './had-arrived.ts'
import { enqueueDue } from './enqueue-due.ts'

/** Takes a delivery receipt. Any order, any number of times: delivered wins, the rest changes nothing. */
export async function takeReceipt(deps: Deps, receipt: Receipt): Promise<void> {
  const { gateway, state, code } = receipt
  await deps.traces.span('take receipt', { gateway, outcome: state, code: code ?? null }, (note) =>
    deps.store.transact(async (tx) => {
      const message = await messageOf(tx, receipt)
      if (message) note(factsOf(message))
      if (message) return applyReceipt(tx, deps, message, receipt)
      // The peer was quicker than our own record of its answer.
      if (receipt.ref !== undefined) await tx.messages.keepEarlyReceipt(receipt)
    }),
  )
  // What stands in for it, if anything does.
  if (receipt.state === 'undelivered') await enqueueDue(deps)
}

async function messageOf(tx: Tx, { gateway, messageId, ref }: Receipt): Promise<Message | undefined> {
  const message = messageId !== undefined ? await tx.messages.get(messageId) : undefined
  if (message?.gateway === gateway) return message
  return ref === undefined ? undefined : tx.messages.byRef(gateway, ref)
}

/**
 * Applies a receipt, whose message may still be thought to be on its way out: then the receipt is the first to say that
 * it was sent.
 */
export async function applyReceipt(
  tx: Tx,
  deps: Deps,
  about: { id: string; bookingId?: string | null },
  { state, code, at }: Receipt,
): Promise<void> {
  const { id } = about
  if (state === 'undelivered' && (await callsAgain(tx, deps, id, code ?? null))) return
  const facts = { endedAt: at, code: code ?? null }
  const known = state === 'delivered' ? (['sent', 'undelivered'] as const) : (['sent'] as const)
  // Delivered proves that it arrived, also where a lost claim is just about to be sent again, or was given up before
  // that.
  const guessed =
    state === 'delivered' ? (['sending', 'queued', 'withdrawn', 'expired'] as const) : (['sending'] as const)
  const moved =
    (await tx.messages.move(id, known, state, facts)) ||
    (await tx.messages.move(id, guessed, state, { ...facts, sentAt: at }))
  if (!moved) return
  deps.notice(`message-${state}`, idsOf(about))
  const message = await tx.messages.get(id)
  if (!message) return
  if (state === 'undelivered') await fallBack(tx, deps, message)
  else await closeLossCalls(tx, deps, message)
}

/** A call that rang in vain is made again at another hour; the sweep enqueues it. */
async function callsAgain(tx: Tx, deps: Deps, id: string, code: string | null): Promise<boolean> {
  const message = await tx.messages.get(id)
  const step = message && (await callStep(tx, deps, message, code))
  return (
    step?.state === 'queued' &&
    tx.messages.move(id, ['sending', 'sent'], 'queued', { sendAt: step.at, claimedAt: null, code })
  )
}
