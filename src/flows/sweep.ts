import type { Message } from '../domain/message.ts'
import { fallBack } from './fall-back.ts'
import type { SendOutcome } from './gateway.ts'
import { wholeBooking } from './lookups.ts'
import type { Deps } from './ports.ts'
import { openFollowUp } from './records-made.ts'
import { alarmOf, ringDue } from './ring-due.ts'
import { lostWorth, recordOutcome } from './send-message.ts'

const MINUTE = 60_000
const BATCH = 200
const MOST_ALARMS = 100_000
/** A ring this late was lost. */
const OVERDUE_MS = MINUTE
/** A claim this old belongs to a process that is gone. */
const STUCK_MS = 5 * MINUTE
/** Preparation is given this long to arrive, or until so long before its mark. */
const DELIVERY_MS = 60 * MINUTE
const BEFORE_MARK_MS = 120 * MINUTE

/**
 * Puts right whatever time, crashes or a lost queue have left behind. Runs every half minute on one worker or several;
 * each step is a conditional update, so doing it twice is harmless.
 */
export async function sweep(deps: Deps): Promise<void> {
  await expireWorthless(deps)
  await recoverStuck(deps)
  await giveUpWaiting(deps)
  await lapseOffers(deps)
  await ringDue(deps)
  await ringOverdue(deps)
}

async function expireWorthless(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  for (const message of await deps.store.read.messages.worthless(now, BATCH)) {
    await deps.store.transact(async (tx) => {
      if (!(await tx.messages.move(message.id, ['planned', 'queued'], 'expired', { code: 'too-late', endedAt: now }))) return
      deps.notice('message-expired', { message: message.id })
      const around = message.bookingId ? await wholeBooking(tx, await tx.bookings.get(message.bookingId)) : null
      if (around) await lostWorth(tx, deps, message, around)
    })
  }
}

/** Claims left by a crash: ask the gateway what became of them; where it cannot say, its policy decides. */
async function recoverStuck(deps: Deps): Promise<void> {
  const before = new Date(deps.clock.now().getTime() - STUCK_MS)
  for (const message of await deps.store.read.messages.stuck(before, BATCH)) {
    const outcome = await fateOf(deps, message)
    const alarm = await deps.store.transact((tx) => recordOutcome(tx, deps, message, outcome))
    if (alarm) await deps.queue.set([alarm])
  }
}

async function fateOf(deps: Deps, message: Message): Promise<SendOutcome> {
  const answer = await deps.gateways.get(message.gateway)?.lookUp?.(message.id)
  if (answer === 'never-seen') return { kind: 'later', code: 'claim-lost', retryAfterMs: 0 }
  return answer ?? { kind: 'unknown', code: 'claim-lost' }
}

/** Preparation that was sent but never arrived is as good as unsent. */
async function giveUpWaiting(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  const sentBefore = new Date(now.getTime() - DELIVERY_MS)
  const markBefore = new Date(now.getTime() + BEFORE_MARK_MS)
  for (const message of await deps.store.read.messages.undelivered(sentBefore, markBefore, BATCH)) {
    if (deps.gateways.get(message.gateway)?.receipts === false) continue
    await deps.store.transact(async (tx) => {
      const facts = { code: 'no-receipt', endedAt: now }
      if (await tx.messages.move(message.id, ['sent'], 'undelivered', facts)) await fallBack(tx, deps, message)
    })
  }
}

/** Held openings come back when nobody answers, and the desk hears of it. */
async function lapseOffers(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  for (const offer of await deps.store.read.offers.lapsing(now, BATCH)) {
    await deps.store.transact(async (tx) => {
      const about = await wholeBooking(tx, await tx.bookings.lock(offer.bookingId))
      if (!(await tx.offers.move(offer.id, ['open', 'waiting'], 'lapsed'))) return
      await tx.slots.release(offer.bookingId)
      await openFollowUp(tx, deps, about, 'offer-lapsed')
      deps.notice('offer-lapsed', { booking: offer.bookingId })
    })
  }
  await deps.store.transact((tx) => tx.slots.releaseExpired(now))
}

async function ringOverdue(deps: Deps): Promise<void> {
  const before = new Date(deps.clock.now().getTime() - OVERDUE_MS)
  await deps.queue.set((await deps.store.read.messages.overdue(before, BATCH)).map(alarmOf))
}

/** Sets every alarm again, e.g. when the queue's store was lost or changed. Setting one twice is harmless. */
export async function resetAlarms(deps: Deps): Promise<void> {
  const horizon = new Date(deps.clock.now().getTime() + deps.policy.horizonHours * 60 * MINUTE)
  await deps.queue.set((await deps.store.read.messages.overdue(horizon, MOST_ALARMS)).map(alarmOf))
}
