import type { Message } from '../../domain/messages/message.ts'
import { anythingGoesOut } from './approved-texts.ts'
import { claimDue, attemptKey, type Claim, type Claimed, type JobWithTurn, type Taken } from './claim-messages.ts'
import { createBatcher, type Batcher } from './batcher.ts'
import type { SendOutcome } from '../ports/gateway.ts'
import type { Deps } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'
import type { Note } from '../ports/traces.ts'
import { recordOutcomes, type Attempted } from './record-outcome.ts'
import { factsOf, idsOf } from './new-message.ts'
import { enqueueJobs } from './enqueue-due.ts'
import { renewOutdated } from './renew-outdated.ts'
import { createWaitingLine, waitKey, type Place, type PlaceTurn } from './waiting-line.ts'

/**
 * Sends what jobs are for: wait for a turn, claim, hand to the gateway, record. Claims and records are made together
 * for all jobs that come at about the same time; each message is handed over and recorded as soon as it can be,
 * whatever the others do.
 *
 *   job ─► [claims together] ─► gateway, each alone ─► [records together]
 *               │      ▲
 *               └─ turn ┘ where none is free at once
 *
 * The claim is committed before the gateway hears of a message, and what became of it is written down as long as it
 * takes. A crash in between leaves a claim whose worker is silent: the sweep asks the gateway about it.
 */
export interface Sender {
  /**
   * Resolves when what became of the message is written down, when there is nothing to do, or when it waits for its
   * turn. Safe to call twice.
   */
  send(job: SendJob): Promise<void>
  /** Claims nothing more, leaves those that wait to whoever comes next, and finishes what is under way. */
  stop(): Promise<void>
}

/**
 * Most messages decided about or recorded in one transaction: enough to share its cost, few enough not to keep others
 * waiting.
 */
const BATCH = 100
const PATIENCE_MS = 1_000
/** Well before a claim is taken over by others: see SILENT_SECONDS. */
const STALE_MS = 20_000
/** Alarms are fetched one by one: a moment without a new one ends a batch, and so do so many moments. */
const LINGER_MS = 4
const LINGERS = 15

type Pause = (ms: number) => Promise<void>

export function createSender(deps: Deps, pause: Pause): Sender {
  const linger = { pause: () => pause(LINGER_MS), most: LINGERS }
  const claims = createBatcher<JobWithTurn, Claim>((jobs) => claimTogether(deps, jobs), { most: BATCH, linger })
  const records = createBatcher<Attempted, SendJob | null>((attempts) => recordTogether(deps, attempts), {
    most: BATCH,
    linger,
  })
  const line = createWaitingLine(deps, (job, turn) => {
    void begin({ ...job, turn }).catch(() => deps.notice('claim-failed', { message: job.messageId }))
  })
  const underWay = new Set<Promise<void>>()
  let stopped = false

  async function claimed(job: JobWithTurn): Promise<Claim> {
    return deps.traces.span('claim', {}, async (note) => {
      const claim = await claims.add(job)
      note(claim.kind === 'go' ? factsOf(claim.claimed.message) : { idle: true })
      return claim
    })
  }

  async function attempt(job: JobWithTurn, note: Note): Promise<void> {
    const claim = await claimed(job)
    note(claim.kind === 'go' ? factsOf(claim.claimed.message) : { idle: true })
    // The next one may go at once.
    if (claim.kind !== 'go') job.turn?.turn.release()
    if (claim.kind === 'wait') return stopped ? leave(deps, [job]) : line.add(job, claim.place)
    if (claim.kind === 'later') await enqueueJobs(deps, [claim.job])
    if (claim.kind === 'outdated') await renewOutdated(deps, claim.message)
    if (claim.kind !== 'go') return
    const { message } = claim.claimed
    const outcome = await handOver(deps, claim.claimed)
    const record = () => asLongAsItTakes({ message, outcome }, records, deps, pause)
    const next = await deps.traces.span('record', factsOf(message), record)
    deps.worker.inFlight.delete(attemptKey(message))
    if (next) await enqueueJobs(deps, [next], message.bookingId)
  }

  function begin(job: JobWithTurn): Promise<void> {
    const running = deps.traces
      .span('send', {}, (note) => attempt(job, note))
      .finally(() => {
        underWay.delete(running)
        // Whatever came of it, it is not used any more.
        job.turn?.turn.release()
      })
    underWay.add(running)
    return running
  }

  return {
    send: async (job) => {
      if (!stopped && !deps.worker.waiting.has(waitKey(job))) await begin(job)
    },
    stop: async () => {
      stopped = true
      await leave(deps, line.stop())
      while (underWay.size > 0) await Promise.allSettled(underWay)
    },
  }
}

/** Enqueued again at once, for whoever is there. */
function leave(deps: Deps, jobs: readonly JobWithTurn[]): Promise<void> {
  for (const job of jobs) deps.worker.waiting.delete(waitKey(job))
  const job = ({ messageId, revision, attempt, at }: JobWithTurn): SendJob => ({
    messageId,
    revision,
    attempt,
    at,
    requeued: true,
  })
  return enqueueJobs(deps, jobs.map(job))
}

/** Sends one message by itself: for stories on virtual time, where one thing happens after the other. */
export async function sendMessage(deps: Deps, job: SendJob, turn?: PlaceTurn): Promise<void> {
  const [claim] = await claimTogether(deps, [{ ...job, ...(turn && { turn }) }])
  if (claim!.kind === 'wait') return sendInTurn(deps, job, claim!.place)
  if (claim!.kind === 'later') await enqueueJobs(deps, [claim!.job])
  if (claim!.kind === 'outdated') await renewOutdated(deps, claim!.message)
  if (claim!.kind !== 'go') return
  const { message } = claim!.claimed
  const [next] = await recordTogether(deps, [{ message, outcome: await handOver(deps, claim!.claimed) }])
  deps.worker.inFlight.delete(attemptKey(message))
  if (next) await enqueueJobs(deps, [next])
}

/** While no language may be sent, messages wait; what becomes worthless meanwhile is for a person. */
const mayClaim = ({ worker, approvedTexts }: Deps): boolean => worker.steady() && anythingGoesOut(approvedTexts)

async function sendInTurn(deps: Deps, job: SendJob, place: Place): Promise<void> {
  const turn = await deps.gateways.get(place.gateway)!.turn!(place.channel, new AbortController().signal)
  if (turn) await sendMessage(deps, job, { ...place, turn }).finally(() => turn.release())
}

/**
 * When the commit fails nobody knows whether the claims stand: they are not sent, and the sweep puts back what stands.
 */
async function claimTogether(deps: Deps, jobs: readonly JobWithTurn[]): Promise<Claim[]> {
  // What is not claimed now, the sweep enqueues again.
  if (!mayClaim(deps)) return jobs.map(() => ({ kind: 'nothing' }))
  const taken: Taken = { keys: [], turns: [] }
  try {
    return await deps.store.transact((tx) => {
      giveBack(taken)
      return claimDue(tx, deps, jobs, taken)
    })
  } catch (error) {
    giveBack(taken)
    for (const key of taken.keys) deps.worker.inFlight.delete(key)
    throw error
  }
}

/** Turns of a transaction that came to nothing: it failed, or is about to be tried again. */
function giveBack({ turns }: Taken): void {
  for (const turn of turns.splice(0)) turn.release()
}

function recordTogether(deps: Deps, attempts: readonly Attempted[]): Promise<(SendJob | null)[]> {
  return deps.store.transact((tx) => recordOutcomes(tx, deps, attempts))
}

/** What the gateway said is known only here until it is written down: a database that is away is waited for. */
async function asLongAsItTakes(
  attempted: Attempted,
  records: Batcher<Attempted, SendJob | null>,
  deps: Deps,
  pause: (ms: number) => Promise<void>,
) {
  for (;;) {
    try {
      return await records.add(attempted)
    } catch {
      deps.notice('record-failed', idsOf(attempted.message))
      await pause(PATIENCE_MS)
    }
  }
}

/**
 * It has been heard again since it stood still, but this was claimed before; and what was checked then may no longer
 * hold.
 */
function isStale({ clock }: Deps, { claimedAt }: Message): boolean {
  return claimedAt !== null && clock.now().getTime() - claimedAt.getTime() > STALE_MS
}

async function handOver(deps: Deps, claimed: Claimed): Promise<SendOutcome> {
  return deps.traces.span('hand over', factsOf(claimed.message), async (note) => {
    // The next one may go at once.
    const outcome = await handOverInTurn(deps, claimed).finally(() => claimed.turn?.turn.release())
    const code = 'code' in outcome ? outcome.code : null
    const isFault = outcome.kind === 'rejected' || outcome.kind === 'unknown'
    note({ outcome: outcome.kind, code, ...(isFault && { error: code ?? outcome.kind }) })
    return outcome
  })
}

async function handOverInTurn(deps: Deps, { message, outgoing, turn }: Claimed): Promise<SendOutcome> {
  // This process stood still for so long that another may have taken the message over. It was certainly not sent.
  if (!deps.worker.steady() || isStale(deps, message)) return { kind: 'later', code: 'stood-still' }
  const gateway = deps.gateways.get(message.gateway)
  if (!gateway?.channels.includes(message.channel)) return { kind: 'rejected', code: 'no-gateway' }
  return gateway.send(outgoing, turn?.turn)
}
