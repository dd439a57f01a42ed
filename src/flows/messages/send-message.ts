import type { Message } from '../../domain/messages/message.ts'
import { anythingGoesOut } from './approved-texts.ts'
import { claimDue, gripOf, type Claim, type Claimed, type Ring } from './claim-messages.ts'
import { gather, type Gathered } from './batcher.ts'
import type { SendOutcome } from '../ports/gateway.ts'
import type { Alarm, Deps } from '../ports/deps.ts'
import { recordOutcomes, type Attempted } from './record-outcome.ts'
import { idsOf } from '../factories.ts'
import { setAlarms } from './enqueue-due.ts'
import { createWaitingLine, waitKey, type Place, type PlaceTurn } from './waiting-line.ts'

/**
 * Sends what alarms ring for: wait for a turn, claim, hand to the gateway, record. Claims and records are made together
 * for all alarms that ring at about the same time; each message is handed over and recorded as soon as it can be,
 * whatever the others do.
 *
 *   alarm ─► [claims together] ─► gateway, each alone ─► [records together]
 *               │      ▲
 *               └─ turn ┘ where the gateway has it wait
 *
 * The claim is committed before the gateway hears of a message, and what became of it is written down as long as it takes.
 * A crash in between leaves a claim whose worker is silent: the sweep asks the gateway about it.
 */
export interface Sender {
  /**
   * Resolves when what became of the message is written down, when there is nothing to do, or when it waits for its
   * turn. Safe to call twice.
   */
  send(alarm: Alarm): Promise<void>
  /** Claims nothing more, leaves those that wait to whoever comes next, and finishes what is under way. */
  stop(): Promise<void>
}

/** Most messages decided about or recorded in one transaction: enough to share its cost, few enough not to keep others waiting. */
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
  const claims = gather<Ring, Claim>((rings) => claimTogether(deps, rings), { most: BATCH, linger })
  const records = gather<Attempted, Alarm | null>((attempts) => recordTogether(deps, attempts), { most: BATCH, linger })
  const line = createWaitingLine(deps, (alarm, turn) => {
    void begin({ ...alarm, turn }).catch(() => deps.notice('claim-failed', { message: alarm.messageId }))
  })
  const underWay = new Set<Promise<void>>()
  let stopped = false

  async function attempt(ring: Ring): Promise<void> {
    const claim = await claims.add(ring)
    // The next one may go at once.
    if (claim.kind !== 'go') ring.turn?.turn.release()
    if (claim.kind === 'wait') return stopped ? leave(deps, [ring]) : line.add(ring, claim.place)
    if (claim.kind === 'later') await setAlarms(deps, [claim.alarm])
    if (claim.kind !== 'go') return
    const { message } = claim.claimed
    const outcome = await handOver(deps, claim.claimed, ring.turn)
    ring.turn?.turn.release()
    const next = await asLongAsItTakes({ message, outcome }, records, deps, pause)
    deps.hands.held.delete(gripOf(message))
    if (next) await setAlarms(deps, [next])
  }

  function begin(ring: Ring): Promise<void> {
    const running = attempt(ring).finally(() => {
      underWay.delete(running)
      // Whatever came of it, it is not used any more.
      ring.turn?.turn.release()
    })
    underWay.add(running)
    return running
  }

  return {
    send: async (alarm) => {
      if (!stopped && !deps.hands.waiting.has(waitKey(alarm))) await begin(alarm)
    },
    stop: async () => {
      stopped = true
      await leave(deps, line.stop())
      while (underWay.size > 0) await Promise.allSettled(underWay)
    },
  }
}

/** Rung for again at once, by whoever is there. */
function leave(deps: Deps, alarms: readonly Ring[]): Promise<void> {
  for (const alarm of alarms) deps.hands.waiting.delete(waitKey(alarm))
  return setAlarms(
    deps,
    alarms.map(({ messageId, revision, attempt, at }) => ({ messageId, revision, attempt, at, again: true })),
  )
}

/** Sends one message by itself: for stories on virtual time, where one thing happens after the other. */
export async function sendMessage(deps: Deps, alarm: Alarm, turn?: PlaceTurn): Promise<void> {
  const [claim] = await claimTogether(deps, [{ ...alarm, ...(turn && { turn }) }])
  if (claim!.kind === 'wait') return sendInTurn(deps, alarm, claim!.place)
  if (claim!.kind === 'later') await setAlarms(deps, [claim!.alarm])
  if (claim!.kind !== 'go') return
  const { message } = claim!.claimed
  const [next] = await recordTogether(deps, [{ message, outcome: await handOver(deps, claim!.claimed, turn) }])
  deps.hands.held.delete(gripOf(message))
  if (next) await setAlarms(deps, [next])
}

/** While no language may be sent, messages wait; what becomes worthless meanwhile is for a person. */
const mayClaim = ({ hands, approvedTexts }: Deps): boolean => hands.steady() && anythingGoesOut(approvedTexts)

async function sendInTurn(deps: Deps, alarm: Alarm, place: Place): Promise<void> {
  const turn = await deps.gateways.get(place.gateway)!.turn!(place.channel, new AbortController().signal)
  if (turn) await sendMessage(deps, alarm, { ...place, turn }).finally(() => turn.release())
}

/** When the commit fails nobody knows whether the claims stand: they are not sent, and the sweep puts back what stands. */
async function claimTogether(deps: Deps, alarms: readonly Ring[]): Promise<Claim[]> {
  // What is not claimed now, the sweep rings for again.
  if (!mayClaim(deps)) return alarms.map(() => ({ kind: 'nothing' }))
  const taken: string[] = []
  try {
    return await deps.store.transact((tx) => claimDue(tx, deps, alarms, taken))
  } catch (error) {
    for (const grip of taken) deps.hands.held.delete(grip)
    throw error
  }
}

function recordTogether(deps: Deps, attempts: readonly Attempted[]): Promise<(Alarm | null)[]> {
  return deps.store.transact((tx) => recordOutcomes(tx, deps, attempts))
}

/** What the gateway said is known only here until it is written down: a database that is away is waited for. */
async function asLongAsItTakes(attempted: Attempted, records: Gathered<Attempted, Alarm | null>, deps: Deps, pause: (ms: number) => Promise<void>) {
  for (;;) {
    try {
      return await records.add(attempted)
    } catch {
      deps.notice('record-failed', idsOf(attempted.message))
      await pause(PATIENCE_MS)
    }
  }
}

/** It has been heard again since it stood still, but this was claimed before; and what was checked then may no longer hold. */
function isStale({ clock }: Deps, { claimedAt }: Message): boolean {
  return claimedAt !== null && clock.now().getTime() - claimedAt.getTime() > STALE_MS
}

async function handOver(deps: Deps, { message, outgoing }: Claimed, turn: PlaceTurn | undefined): Promise<SendOutcome> {
  // This process stood still for so long that another may have taken the message over. It was certainly not sent.
  if (!deps.hands.steady() || isStale(deps, message)) return { kind: 'later', code: 'stood-still' }
  const gateway = deps.gateways.get(message.gateway)
  if (!gateway?.channels.includes(message.channel)) return { kind: 'rejected', code: 'no-gateway' }
  return gateway.send(outgoing, turn?.turn)
}
