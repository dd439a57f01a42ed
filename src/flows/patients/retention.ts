import type { AccessRecords, Part } from '../ports/access.ts'
import type { Deps } from '../ports/deps.ts'

/** How long what is kept. Site settings; see README. */
export interface RetentionRules {
  /** Days after a patient's last visit: cycle data, what she said of her preparation, readings, details of closed follow-ups. */
  cycleDays: number
  /** Days after it was sent or came: words and numbers of messages and replies. */
  textDays: number
  auditDays: number
}

const DAY_MS = 86_400_000
/** Answers for repeated requests, and receipts that nobody asked for. */
const BRIEFLY_DAYS = 3
const LONG_AGO = new Date(0)

/** Runs retention once a day. Several processes may call it as often as they like. @returns whether it ran */
export async function retainDaily(deps: Deps, rules: RetentionRules): Promise<boolean> {
  const last = await deps.access.read.retention.lastRun()
  if (last && deps.clock.now().getTime() - last.at.getTime() < DAY_MS) return false
  await retain(deps, rules)
  return true
}

/**
 * Clears what is no longer needed. Each run takes up where the one before ended; a run that breaks off is not noted and is
 * done again, which is harmless.
 */
export async function retain(deps: Deps, rules: RetentionRules): Promise<Record<string, number>> {
  const now = deps.clock.now()
  const { access } = deps
  const last = (await access.read.retention.lastRun())?.at
  const before = (days: number) => new Date(now.getTime() - days * DAY_MS)
  const since = (days: number) => (last ? new Date(last.getTime() - days * DAY_MS) : LONG_AGO)
  const window = (days: number) => [since(days), before(days)] as const
  const inParts = (clear: (tx: AccessRecords, afterId: string) => Promise<Part>) => partByPart(deps, clear)
  const once = (remove: (tx: AccessRecords) => Promise<number>) => access.transact(remove)
  const counts = {
    cycles: await inParts((tx, id) => tx.retention.clearCycles(...window(rules.cycleDays), id)),
    readings: await inParts((tx, id) => tx.retention.clearReadings(...window(rules.cycleDays), id)),
    followUps: await inParts((tx, id) => tx.retention.clearFollowUps(...window(rules.cycleDays), id)),
    messages: await inParts((tx, id) => tx.retention.clearMessages(...window(rules.textDays), id)),
    replies: await once((tx) => tx.retention.removeReplies(before(rules.textDays))),
    keptAnswers: await once((tx) => tx.retention.removeKeptAnswers(before(BRIEFLY_DAYS))),
    earlyReceipts: await once((tx) => tx.retention.removeEarlyReceipts(before(BRIEFLY_DAYS))),
    sessions: await once((tx) => tx.sessions.removeStale(before(1), before(1))),
    audit: await once((tx) => tx.audit.prune(before(rules.auditDays), now)),
  }
  await access.transact((tx) => tx.retention.noteRun(now, counts))
  return counts
}

async function partByPart({ access }: Deps, clear: (tx: AccessRecords, afterId: string) => Promise<Part>): Promise<number> {
  let total = 0
  for (let after: string | null = ''; after !== null; ) {
    const from: string = after
    const { count, next } = await access.transact((tx) => clear(tx, from))
    total += count
    after = next
  }
  return total
}
