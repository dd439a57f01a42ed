import type { AccessStore, AuditEntry, ChainedEntry } from '../ports/access.ts'

export type Auditor = (entry: AuditEntry) => Promise<void>

interface Waiting {
  entry: AuditEntry
  done: () => void
  failed: (error: unknown) => void
}

/**
 * Writes the record of who saw and changed what. An entry's promise resolves once it is durable; only then may anything
 * be shown. Entries that come at the same time share one transaction, since the chain takes one writer at a time.
 */
export function createAuditor(access: AccessStore): Auditor {
  let waiting: Waiting[] = []
  let writing = false

  async function write(): Promise<void> {
    writing = true
    while (waiting.length > 0) {
      const batch = waiting
      waiting = []
      await access
        .transact((tx) => tx.audit.append(batch.map(({ entry }) => entry)))
        .then(
          () => batch.forEach(({ done }) => done()),
          (error: unknown) => batch.forEach(({ failed }) => failed(error)),
        )
    }
    writing = false
  }

  return (entry) =>
    new Promise<void>((done, failed) => {
      waiting.push({ entry, done, failed })
      if (!writing) void write()
    })
}

export interface AuditFinding {
  seq: number
  fault: 'altered' | 'missing' | 'cut-off' | 'other-than-noted'
}

export interface AuditVerdict {
  entries: number
  /** The number of the first entry that was checked; null = all were. */
  from: number | null
  head: { seq: number; hash: string }
  findings: AuditFinding[]
}

const PAGE = 1_000

/**
 * Follows the chain from its oldest entry to its head.
 * @param noted a head that was noted elsewhere earlier: entries cut off since then, or rewritten by somebody who has
 *   the key, are found by it.
 * @param newest only so many entries, without what lies before them: for a page, which may not take for ever
 */
export async function verifyAudit(
  { read: { audit } }: AccessStore,
  { noted, newest = Infinity }: { noted?: { seq: number; hash: string }; newest?: number } = {},
): Promise<AuditVerdict> {
  const head = await audit.head()
  const from = Math.max(0, head.seq - newest + 1)
  const findings: AuditFinding[] = []
  let last: { seq: number; hash: string } | null = null
  let entries = 0
  for (let page = await audit.page(from, PAGE); page.length > 0; page = await audit.page(last!.seq + 1, PAGE)) {
    for (const entry of page) {
      findings.push(
        ...faultsOf(entry, last ?? { seq: entry.seq - 1, hash: entry.previous }, audit.hashOf(entry), noted),
      )
      last = entry
      entries++
    }
  }
  if ((last?.seq ?? 0) !== head.seq || (last?.hash ?? '') !== head.hash)
    findings.push({ seq: head.seq, fault: 'cut-off' })
  if (noted && noted.seq > head.seq) findings.push({ seq: noted.seq, fault: 'cut-off' })
  const beginning = from > 1 ? [] : await beginningFaults(audit)
  return { entries, from: from > 1 ? from : null, head, findings: [...findings, ...beginning] }
}

function faultsOf(
  entry: ChainedEntry,
  before: { seq: number; hash: string },
  due: string,
  noted?: { seq: number; hash: string },
): AuditFinding[] {
  const { seq } = entry
  const faults: AuditFinding[] = []
  if (seq !== before.seq + 1) faults.push({ seq: before.seq + 1, fault: 'missing' })
  if (entry.hash !== due || (seq === before.seq + 1 && entry.previous !== before.hash))
    faults.push({ seq, fault: 'altered' })
  if (noted?.seq === seq && noted.hash !== entry.hash) faults.push({ seq, fault: 'other-than-noted' })
  return faults
}

/** The oldest entry is number 1, or the record of a pruning says where it must begin. */
async function beginningFaults(audit: AccessStore['read']['audit']): Promise<AuditFinding[]> {
  const [oldest] = await audit.page(0, 1)
  if (!oldest || oldest.seq === 1) return []
  const prunings = await audit.list({ actorId: 'retention', limit: 10_000 })
  const explained = prunings.some(
    ({ what, facts }) => what === 'audit-pruned' && facts.upTo === oldest.seq - 1 && facts.hash === oldest.previous,
  )
  return explained ? [] : [{ seq: oldest.seq - 1, fault: 'missing' }]
}
