import type { Message } from '../../domain/messages/message.ts'
import { silentGateways } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'
import { fallBack } from './fall-back.ts'
import { forAll } from './for-all.ts'
import { NOT_READ } from './read-on-page.ts'

const MINUTE = 60_000
/** Preparation is given this long to arrive, or until so long before its mark. */
const DELIVERY_MS = 60 * MINUTE
const BEFORE_MARK_MS = 120 * MINUTE
/** An e-mail is given this long to be read: it goes a day early, so that another way is still in time. */
const READING_MS = 20 * 60 * MINUTE

/** Preparation that was sent but never arrived is as good as unsent. */
export function giveUpWaiting(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  const sentBefore = new Date(now.getTime() - DELIVERY_MS)
  const markBefore = new Date(now.getTime() + BEFORE_MARK_MS)
  const silent = [...silentGateways(deps)]
  return forAll(
    (limit) => deps.store.read.dispatch.undelivered(sentBefore, markBefore, silent, limit),
    (message) => giveUp(deps, message, 'no-receipt'),
  )
}

/** An e-mail that nobody has said to have read: another way, or a person. */
export function giveUpUnread(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  const sentBefore = new Date(now.getTime() - READING_MS)
  const markBefore = new Date(now.getTime() + BEFORE_MARK_MS)
  return forAll(
    (limit) => deps.store.read.dispatch.unread(sentBefore, markBefore, limit),
    (message) => giveUp(deps, message, NOT_READ),
  )
}

function giveUp(deps: Deps, message: Message, code: string): Promise<void> {
  return deps.store.transact(async (tx) => {
    const facts = { code, endedAt: deps.clock.now() }
    if (await tx.messages.move(message.id, ['sent'], 'undelivered', facts)) await fallBack(tx, deps, message)
  })
}
