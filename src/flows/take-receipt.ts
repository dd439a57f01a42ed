import type { Receipt } from './gateway.ts'
import { fallBack } from './fall-back.ts'
import type { Deps, Tx } from './ports.ts'
import { ringDue } from './ring-due.ts'

/** Takes a delivery receipt. Any order, any number of times: delivered wins, the rest changes nothing. */
export async function takeReceipt(deps: Deps, receipt: Receipt): Promise<void> {
  await deps.store.transact(async (tx) => {
    const message = await messageOf(tx, receipt)
    if (message) return applyReceipt(tx, deps, message, receipt)
    // The peer was quicker than our own record of its answer.
    if (receipt.ref !== undefined) await tx.messages.keepEarlyReceipt(receipt)
  })
  await ringDue(deps)
}

async function messageOf(tx: Tx, { gateway, messageId, ref }: Receipt): Promise<string | undefined> {
  const message = messageId !== undefined ? await tx.messages.get(messageId) : undefined
  if (message?.gateway === gateway) return message.id
  return ref === undefined ? undefined : (await tx.messages.byRef(gateway, ref))?.id
}

export async function applyReceipt(tx: Tx, deps: Deps, id: string, { state, code, at }: Receipt): Promise<void> {
  const facts = { endedAt: at, code: code ?? null }
  if (state === 'delivered') {
    if (await tx.messages.move(id, ['sending', 'sent', 'undelivered'], 'delivered', facts)) deps.notice('message-delivered', { message: id })
    return
  }
  if (!(await tx.messages.move(id, ['sending', 'sent'], 'undelivered', facts))) return
  deps.notice('message-undelivered', { message: id })
  const message = await tx.messages.get(id)
  if (message) await fallBack(tx, deps, message)
}
