import { LONGEST_ASK_AGAIN_MONTHS } from '../../domain/patients/changed-hands.ts'
import type { RetentionRules } from '../ports/retention-rules.ts'
import type { AccessRecords, Part } from '../ports/access.ts'
import type { Deps } from '../ports/deps.ts'

const DAY_MS = 86_400_000
/** Receipts that nobody asked for. */
const RECEIPTS_DAYS = 3
/** No peer tries to deliver a text for longer. */
const PARTS_DAYS = 10
/** No sender repeats a message, and no clerk mends a fault, that is older. Common practice, no source. */
const FEED_NOTES_DAYS = 30
/** Nobody asks for an older one, whatever the clinics' settings. */
const SIGNS_DAYS = LONGEST_ASK_AGAIN_MONTHS * 31
const LONG_AGO = new Date(0)

/** How many of each kind of data a run cleared. */
export type Cleared = Record<string, number>

/** One kind of data, and the instant up to and with which it is no longer kept. */
interface Rule {
  what: string
  to: Date
  /** Clears what is older, as far as no run before did. @returns how many */
  clear(from: Date): Promise<number>
}

/**
 * Runs retention where it is due: a day after the last run, and as soon as a setting was lowered, so that what is too
 * old by now is gone at once. Several processes may call it as often as they like.
 * @returns what it cleared; null = nothing was due
 */
export async function retainDaily(deps: Deps, settings: RetentionRules): Promise<Cleared | null> {
  const marks = await deps.access.read.retention.clearedTo()
  const isDue = ({ what, to }: Rule) => to.getTime() - (marks.get(what) ?? LONG_AGO).getTime() >= DAY_MS
  return rulesOf(deps, settings).some(isDue) ? retain(deps, settings) : null
}

/**
 * Clears what is no longer needed. Each kind of data is taken up where it was left, whatever the settings were then; a
 * setting that was raised leaves it alone until the mark is reached again. A run that breaks off is not noted and is
 * done again, which is harmless.
 */
export async function retain(deps: Deps, settings: RetentionRules): Promise<Cleared> {
  const marks = await deps.access.read.retention.clearedTo()
  const rules = rulesOf(deps, settings)
  const counts: Cleared = {}
  for (const { what, to, clear } of rules) {
    const from = marks.get(what) ?? LONG_AGO
    counts[what] = from < to ? await clear(from) : 0
  }
  const clearedTo = new Map(rules.map(({ what, to }) => [what, to]))
  await deps.access.transact((tx) => tx.retention.noteRun(deps.clock.now(), counts, clearedTo))
  return counts
}

type InParts = (tx: AccessRecords, from: Date, to: Date, afterId: string) => Promise<Part>
type AtOnce = (tx: AccessRecords, to: Date) => Promise<number>

function rulesOf(deps: Deps, { cycleDays, textDays, auditDays }: RetentionRules): Rule[] {
  const now = deps.clock.now()
  const before = (days: number) => new Date(now.getTime() - days * DAY_MS)
  const inParts = (what: string, days: number, clear: InParts): Rule => {
    const to = before(days)
    return { what, to, clear: (from) => partByPart(deps, (tx, id) => clear(tx, from, to, id)) }
  }
  const atOnce = (what: string, days: number, remove: AtOnce): Rule => {
    const to = before(days)
    return { what, to, clear: () => deps.access.transact((tx) => remove(tx, to)) }
  }
  return [
    inParts('cycles', cycleDays, (tx, ...part) => tx.retention.clearCycles(...part)),
    inParts('readings', cycleDays, (tx, ...part) => tx.retention.clearReadings(...part)),
    inParts('followUps', cycleDays, (tx, ...part) => tx.retention.clearFollowUps(...part)),
    inParts('messages', textDays, (tx, ...part) => tx.retention.clearMessages(...part)),
    atOnce('replies', textDays, (tx, to) => tx.retention.removeReplies(to)),
    atOnce('signsOfLife', SIGNS_DAYS, (tx, to) => tx.retention.removeSignsOfLife(to)),
    atOnce('earlyReceipts', RECEIPTS_DAYS, (tx, to) => tx.retention.removeEarlyReceipts(to)),
    atOnce('sentParts', PARTS_DAYS, (tx, to) => tx.retention.removeSentParts(to)),
    atOnce('feedVisits', cycleDays, (tx, to) => tx.retention.removeFeedVisits(to)),
    atOnce('feedNotes', FEED_NOTES_DAYS, (tx, to) => tx.retention.removeFeedNotes(to)),
    atOnce('sessions', 1, (tx, to) => tx.sessions.removeStale(to, to)),
    atOnce('signInTries', 1, (tx, to) => tx.tries.removeStale(to)),
    atOnce('audit', auditDays, (tx, to) => tx.audit.prune(to, now)),
  ]
}

async function partByPart(
  { access }: Deps,
  clear: (tx: AccessRecords, afterId: string) => Promise<Part>,
): Promise<number> {
  let total = 0
  for (let after: string | null = ''; after !== null;) {
    const from: string = after
    const { count, next } = await access.transact((tx) => clear(tx, from))
    total += count
    after = next
  }
  return total
}
