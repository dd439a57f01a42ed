import { UNSENT, type Message } from '../../domain/messages/message.ts'
import type { Deps, Tx } from '../ports/deps.ts'
import { applyReceipt } from './take-receipt.ts'

/** E-mails that nobody has said to have read: given up for it or not. */
export const unreadMail = (messages: readonly Message[]): Message[] =>
  messages.filter(({ channel, state, code }) => channel === 'email' && (state === 'sent' || isGivenUp(state, code)))

/** What an e-mail ends with that was given up waiting for. */
export const NOT_READ = 'not-read'

const isGivenUp = (state: Message['state'], code: string | null) => state === 'undelivered' && code === NOT_READ

/**
 * Somebody pressed a button on the page of a visit, so what was e-mailed about it was read: the one receipt that there
 * is. Opening the page is none: programs that look through mail open its addresses.
 */
export async function markRead(tx: Tx, deps: Deps, bookingId: string): Promise<void> {
  const messages = await tx.messages.ofBooking(bookingId)
  const at = deps.clock.now()
  for (const { id, gateway } of unreadMail(messages)) {
    await applyReceipt(tx, deps, { id, bookingId }, { gateway, messageId: id, state: 'delivered', code: 'read', at })
    // What was to stand in for it has nothing more to say.
    for (const { id: standIn } of messages.filter(({ fallbackOf }) => fallbackOf === id))
      await tx.messages.move(standIn, UNSENT, 'withdrawn', { code: 'read', endedAt: at })
  }
}

/** As `markRead`, by itself. */
export const readOnPage = (deps: Deps, bookingId: string): Promise<void> =>
  deps.store.transact((tx) => markRead(tx, deps, bookingId))
