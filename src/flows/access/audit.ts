import type { AccessStore, AuditEntry } from '../ports/access.ts'

export type Auditor = (entry: AuditEntry) => Promise<void>

/** An entry about somebody whom nobody knows: a wrong password, a wrong key. */
export function byNobody(at: Date, what: string, facts: AuditEntry['facts']): AuditEntry {
  return { at, actorKind: 'nobody', actorId: 'nobody', what, subjects: [], clinicId: null, facts }
}

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
