import type { AccessStore, ChainedEntry } from '../ports/access.ts'
import type { NotedHead } from '../ports/head-notes.ts'

/** What may be wrong with an entry, in words that follow its number. */
export const FAULTS = {
  altered: 'was changed',
  missing: 'is missing',
  'cut-off': 'and what follows was cut off',
  'other-than-noted': 'is not what was noted when it was the newest',
  'subject-removed': 'is not found any more by all that it is about',
  'subject-added': 'is found by something that it is not about',
  'note-not-ours': 'is named in a note that this service did not write',
} as const

export interface AuditFinding {
  seq: number
  fault: keyof typeof FAULTS
}

export const findingWords = ({ seq, fault }: AuditFinding) => `Entry ${seq} ${FAULTS[fault]}.`

export interface AuditVerdict {
  entries: number
  /** The number of the first entry that was checked; null = all were. */
  from: number | null
  head: { seq: number; hash: string }
  /** How many noted heads the record was held against. */
  notes: number
  findings: AuditFinding[]
}

interface Extent {
  /** Heads that were noted away from the database: what was cut off since, or rewritten, is found by them. */
  notes?: readonly NotedHead[]
  /** Only so many entries, without what lies before them: for a page, which may not take for ever. */
  newest?: number
}

const PAGE = 500

type Audit = AccessStore['read']['audit']
type Link = { seq: number; hash: string }

/** Follows the chain from its oldest entry to its head, and holds the heads that were noted against it. */
export async function verifyAudit(
  { read: { audit } }: AccessStore,
  { notes = [], newest = Infinity }: Extent = {},
): Promise<AuditVerdict> {
  const from = Math.max(0, (await audit.head()).seq - newest + 1)
  const ours = notes.filter(({ isOurs, seq }) => isOurs && seq >= from)
  const findings: AuditFinding[] = []
  let last: Link | null = null
  let entries = 0
  for (let page = await audit.page(from, PAGE); page.length > 0; page = await following(audit, last!)) {
    for (const entry of page) {
      const before: Link = last ?? { seq: entry.seq - 1, hash: entry.previous }
      findings.push(...faultsOf(entry, before, audit.hashOf(entry)))
      last = entry
      entries++
    }
    findings.push(...(await indexFaults(audit, page)), ...noteFaults(page, ours))
  }
  // Read last: whatever was written meanwhile came before it.
  const head = await audit.head()
  if ((last?.seq ?? 0) !== head.seq || (last?.hash ?? '') !== head.hash)
    findings.push({ seq: head.seq, fault: 'cut-off' })
  const beyond = Math.max(0, ...ours.map(({ seq }) => seq))
  if (beyond > head.seq) findings.push({ seq: beyond, fault: 'cut-off' })
  const strange = notes.filter(({ isOurs }) => !isOurs).map(({ seq }) => ({ seq, fault: 'note-not-ours' as const }))
  const beginning = from > 1 ? [] : await beginningFaults(audit)
  const all = [...findings, ...beginning, ...strange]
  return { entries, from: from > 1 ? from : null, head, notes: ours.length, findings: all }
}

/** The next entries; what is written while the record is followed is followed too. */
async function following(audit: Audit, last: Link): Promise<ChainedEntry[]> {
  const page = await audit.page(last.seq + 1, PAGE)
  return page.length > 0 || (await audit.head()).seq <= last.seq ? page : audit.page(last.seq + 1, PAGE)
}

function faultsOf(entry: ChainedEntry, before: Link, due: string): AuditFinding[] {
  const { seq } = entry
  const faults: AuditFinding[] = []
  if (seq !== before.seq + 1) faults.push({ seq: before.seq + 1, fault: 'missing' })
  if (entry.hash !== due || (seq === before.seq + 1 && entry.previous !== before.hash))
    faults.push({ seq, fault: 'altered' })
  return faults
}

/** Searches go by a table of its own, which must say what the chained entries say. */
async function indexFaults(audit: Audit, page: readonly ChainedEntry[]): Promise<AuditFinding[]> {
  const indexed = new Map<number, Set<string>>()
  for (const { seq, subject } of await audit.indexed(page[0]!.seq, page.at(-1)!.seq))
    indexed.set(seq, (indexed.get(seq) ?? new Set()).add(subject))
  return page.flatMap(({ seq, subjects }): AuditFinding[] => {
    const found = indexed.get(seq) ?? new Set()
    const due = new Set(subjects)
    return [
      ...([...due].some((id) => !found.has(id)) ? [{ seq, fault: 'subject-removed' as const }] : []),
      ...([...found].some((id) => !due.has(id)) ? [{ seq, fault: 'subject-added' as const }] : []),
    ]
  })
}

function noteFaults(page: readonly ChainedEntry[], notes: readonly NotedHead[]): AuditFinding[] {
  const hashes = new Map(page.map(({ seq, hash }) => [seq, hash]))
  const others = notes.filter(({ seq, hash }) => hashes.has(seq) && hashes.get(seq) !== hash)
  return [...new Set(others.map(({ seq }) => seq))].map((seq) => ({ seq, fault: 'other-than-noted' }))
}

/** The oldest entry is number 1, or the record of a pruning says where it must begin. */
async function beginningFaults(audit: Audit): Promise<AuditFinding[]> {
  const [oldest] = await audit.page(0, 1)
  if (!oldest || oldest.seq === 1) return []
  const prunings = await audit.list({ actorId: 'retention', limit: 10_000 })
  const explained = prunings.some(
    ({ what, facts }) => what === 'audit-pruned' && facts.upTo === oldest.seq - 1 && facts.hash === oldest.previous,
  )
  return explained ? [] : [{ seq: oldest.seq - 1, fault: 'missing' }]
}
