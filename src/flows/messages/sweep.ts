import type { Message } from '../../domain/messages/message.ts'
import { isOver } from '../../domain/visits/over.ts'
import type { SendOutcome } from '../ports/gateway.ts'
import { loadVisit, subjectOf } from '../lookups.ts'
import { attemptKey } from './claim-messages.ts'
import { followUpIfImportant } from './leave-to-person.ts'
import type { Deps } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'
import { reasonsSettledBy } from '../../domain/calls/follow-up.ts'
import { closeApproval, openFollowUp } from '../calls/follow-ups.ts'
import { forAll } from './for-all.ts'
import { giveUpUnread, giveUpWaiting } from './never-arrived.ts'
import { idsOf } from './new-message.ts'
import { recordOutcomes } from './record-outcome.ts'
import { enqueueDue, enqueueJobs } from './enqueue-due.ts'
import { actOnText } from '../replies/hear-text.ts'
import { ANSWERED_WITHIN_MS } from '../replies/conversation.ts'
import { leaveUnanswered } from '../replies/pending-question.ts'
import { applyReceipt } from './take-receipt.ts'
import { leaveToPerson } from '../replies/take-reply.ts'
import { answersDue, settleQuestion } from './settle-questions.ts'
import { endConsents } from '../patients/end-consents.ts'
import { waitKey } from './waiting-line.ts'
import { keysForgottenUntil } from '../visits/idempotency.ts'

const MINUTE = 60_000
/** Alarms set in one go. */
const JOBS_AT_ONCE = 500
const MOST_JOBS = 100_000
/** A job this late was lost. */
const OVERDUE_MS = MINUTE
/** A worker that has not been heard for so long is gone. It believes so itself, some time before. */
export const SILENT_SECONDS = 30
/** So long after a visit began, what was to be done before it is pointless. */
const POINTLESS_MS = 12 * 60 * MINUTE
/** A reply kept so long ago and not acted on was left behind by a crash. */
const UNACTED_MS = MINUTE
/** How far back each sweep looks for visits that are over. */
const LATELY_MS = 2 * 24 * 60 * MINUTE

/**
 * Puts right whatever time, crashes or a lost queue have left behind. Runs every half minute on one worker or several;
 * each step is a conditional update, so doing it twice is harmless.
 */
export function sweep(deps: Deps): Promise<void> {
  return deps.traces.span('sweep', {}, () => sweepAll(deps))
}

async function sweepAll(deps: Deps): Promise<void> {
  await deps.store.read.workers.beat(deps.worker.id)
  await deps.store.read.workers.forgetSilent(SILENT_SECONDS)
  const failures: unknown[] = []
  for (const step of STEPS) await step(deps).catch((error: unknown) => failures.push(error))
  // What one step stumbles over must not keep the others from their work, nor stay unheard.
  if (failures.length > 0) throw failures[0]
}

const STEPS: readonly ((deps: Deps) => Promise<unknown>)[] = [
  actOnUnacted,
  leaveOldQuestions,
  expireWorthless,
  recoverOwn,
  recoverStuck,
  matchReceipts,
  giveUpWaiting,
  giveUpUnread,
  endConsents,
  lapseOffers,
  settleQuestions,
  (deps) => closePast(deps),
  enqueueDue,
  requeueOverdue,
  forgetKeys,
]

/**
 * A text is read as it would have been; what was pressed on a page or in a call is over by now, so a person sees to it.
 */
function actOnUnacted(deps: Deps): Promise<void> {
  const before = new Date(deps.clock.now().getTime() - UNACTED_MS)
  return forAll(
    (limit) => deps.store.read.replies.unacted(before, limit),
    ({ id, reading }) => (reading === null ? actOnText(deps, id) : leaveToPerson(deps, id, () => reading)),
  )
}

/** "Which visit do you mean?" is not waited for any longer. */
function leaveOldQuestions(deps: Deps): Promise<void> {
  const before = new Date(deps.clock.now().getTime() - ANSWERED_WITHIN_MS)
  return forAll(
    (limit) => deps.store.read.replies.unansweredBefore(before, limit),
    ({ id }) => leaveUnanswered(deps, id),
  )
}

function expireWorthless(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  const expire = (message: Message) =>
    deps.store.transact(async (tx) => {
      if (!(await tx.messages.move(message.id, ['planned', 'queued'], 'expired', { code: 'too-late', endedAt: now })))
        return
      deps.notice('message-expired', idsOf(message))
      await followUpIfImportant(tx, deps, message, await subjectOf(tx, message))
    })
  return forAll((limit) => deps.store.read.dispatch.worthless(now, limit), expire)
}

/** Claims of this process that it does not hold: their commit seemed to fail, so they were never handed over. */
async function recoverOwn(deps: Deps): Promise<void> {
  for (const message of await deps.store.read.dispatch.claimedBy(deps.worker.id)) {
    if (!deps.worker.inFlight.has(attemptKey(message)))
      await recover(deps, message, { kind: 'later', code: 'claim-unsure', retryAfterMs: 0 })
  }
}

/** Claims left by a crash: ask the gateway what became of them; where it cannot say, its policy decides. */
function recoverStuck(deps: Deps): Promise<void> {
  return forAll(
    (limit) => deps.store.read.dispatch.stuck(limit),
    async (message) => recover(deps, message, await fateOf(deps, message)),
  )
}

async function recover(deps: Deps, message: Message, outcome: SendOutcome): Promise<void> {
  const [job] = await deps.store.transact((tx) => recordOutcomes(tx, deps, [{ message, outcome }]))
  deps.notice('claim-recovered', { ...idsOf(message), outcome: outcome.kind })
  if (job) await enqueueJobs(deps, [job], message.bookingId)
}

async function fateOf(deps: Deps, message: Message): Promise<SendOutcome> {
  const answer = await deps.gateways.get(message.gateway)?.lookUp?.(message.id)
  if (answer === 'never-seen') return { kind: 'later', code: 'claim-lost', retryAfterMs: 0 }
  return answer ?? { kind: 'unknown', code: 'claim-lost' }
}

/** A receipt and our record of the reference it names were written at the same moment, unseen by each other. */
function matchReceipts(deps: Deps): Promise<void> {
  return forAll(
    (limit) => deps.store.read.dispatch.crossedReceipts(limit),
    ({ messageId, ...named }) =>
      deps.store.transact(async (tx) => {
        for (const receipt of await tx.dispatch.takeEarlyReceipts([named]))
          await applyReceipt(tx, deps, { id: messageId }, receipt)
      }),
  )
}

/** The patient was asked whether a period has begun, and has had time to answer. */
function settleQuestions(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  return forAll(
    (limit) => deps.store.read.dispatch.askedLately(answersDue(now), now, limit),
    ({ bookingId, at }) => settleQuestion(deps, bookingId, at),
  )
}

/** Held openings come back when nobody answers, and the desk hears of it. */
async function lapseOffers(deps: Deps): Promise<void> {
  const now = deps.clock.now()
  await forAll(
    (limit) => deps.store.read.offers.lapsing(now, limit),
    (offer) =>
      deps.store.transact(async (tx) => {
        const about = await loadVisit(tx, await tx.bookings.lock(offer.bookingId))
        if (!(await tx.offers.move(offer.id, ['open', 'waiting'], 'lapsed'))) return
        await tx.slots.release(offer.bookingId)
        await closeApproval(tx, deps, offer, 'the offer has lapsed')
        // Of a visit whose day has passed there is nothing to ask any more: how it ended says what comes next.
        if (!isOver(about.booking, now)) await openFollowUp(tx, deps, about, 'offer-lapsed')
        deps.notice('offer-lapsed', { booking: offer.bookingId })
      }),
  )
  await deps.store.transact((tx) => tx.slots.releaseExpired(now))
}

/**
 * Enqueued again, and told apart from the first job, which may hang in a process that is gone, or wait by a clock that
 * jumped.
 */
async function requeueOverdue(deps: Deps): Promise<void> {
  const before = new Date(deps.clock.now().getTime() - OVERDUE_MS)
  const overdue = await deps.store.read.dispatch.overdue(before, MOST_JOBS)
  // Those that wait here for a turn have been heard.
  const unheard = overdue.filter((job) => !deps.worker.waiting.has(waitKey(job)))
  const requeued = unheard.map((job): SendJob => ({ ...job, requeued: true }))
  await enqueueInParts(deps, requeued)
}

/** Enqueues everything again, e.g. when the queue's store was lost or changed. Doing so twice is harmless. */
export async function requeueAll(deps: Deps): Promise<void> {
  const horizon = new Date(deps.clock.now().getTime() + deps.policy.horizonHours * 60 * MINUTE)
  await enqueueInParts(deps, await deps.store.read.dispatch.overdue(horizon, MOST_JOBS))
}

async function enqueueInParts(deps: Deps, jobs: Parameters<typeof enqueueJobs>[1]): Promise<void> {
  for (let at = 0; at < jobs.length; at += JOBS_AT_ONCE) await enqueueJobs(deps, jobs.slice(at, at + JOBS_AT_ONCE))
}

function forgetKeys(deps: Deps): Promise<void> {
  return deps.store.read.idempotency.forget(keysForgottenUntil(deps.clock.now()))
}

/** The call list is for what can still be done. Visits that were over long ago were looked at when they were. */
async function closePast(
  deps: Deps,
  since = new Date(deps.clock.now().getTime() - POINTLESS_MS - LATELY_MS),
): Promise<void> {
  const now = deps.clock.now()
  const over = { from: since, to: new Date(now.getTime() - POINTLESS_MS) }
  const closed = await deps.store.read.followUps.closePast(
    reasonsSettledBy('end-of-visit'),
    over,
    'the visit is over',
    now,
  )
  if (closed > 0) deps.notice('follow-ups-closed', {})
}

/** As the sweep does, for visits of any time: nobody may have swept for long. */
export const closeAllPast = (deps: Deps): Promise<void> => closePast(deps, new Date(0))
