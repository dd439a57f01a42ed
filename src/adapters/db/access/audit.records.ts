import { sql } from 'kysely'
import type { AuditEntry, AuditQuery, AuditRecords, ChainedEntry } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import { asJson, prepared } from '../prepared-statements.ts'
import type { AuditTable } from './access.tables.ts'
import type { AccessDb } from '../connections.ts'

const COLUMNS = 'seq, at, actor_kind, actor_id, what, clinic_id, facts, previous, hash'
/** Locked until the transaction ends: the chain takes one writer at a time. */
const HEAD = prepared<{ seq: string; hash: string }>('select seq, hash from audit_head for update')
/** One statement, since every page and every call of the API waits for it. */
const APPEND =
  prepared(`with entry as (insert into audit (${COLUMNS}) select ${COLUMNS} from json_populate_recordset(null::audit, $1)),
    subject as (insert into audit_subject (subject, seq) select subject, seq from json_populate_recordset(null::audit_subject, $2))
  update audit_head set seq = $3, hash = $4`)

/**
 * The chain: each entry's hash is keyed (HMAC, with the look-up key) over its own content and the hash before it.
 * Whoever can write to the database but has no key can neither change nor insert an entry unnoticed; cutting off the
 * newest ones is noticed against heads that were noted elsewhere (`adapters/audit-notes`).
 */
function linkHash(
  vault: Vault,
  {
    seq,
    previous,
    at,
    actorKind,
    actorId,
    what,
    subjects,
    clinicId,
    facts,
  }: AuditEntry & { seq: number; previous: string },
): string {
  return vault.fingerprint(
    `audit ${JSON.stringify([seq, previous, at.toISOString(), actorKind, actorId, what, subjects, clinicId, facts])}`,
  )
}

function selection(db: AccessDb, { actorId, subject, from, to, before, limit }: AuditQuery) {
  let query = db.selectFrom('audit').selectAll().orderBy('seq', 'desc').limit(limit)
  if (actorId) query = query.where('actor_id', '=', actorId)
  if (from) query = query.where('at', '>=', from)
  if (to) query = query.where('at', '<', to)
  if (before) query = query.where('seq', '<', before)
  if (subject)
    query = query.where('seq', 'in', (eb) =>
      eb.selectFrom('audit_subject').select('seq').where('subject', '=', subject),
    )
  return query
}

export function auditRecords(db: AccessDb, vault: Vault): AuditRecords {
  const hashOf = linkHash.bind(null, vault)
  const append = (entries: readonly AuditEntry[]) => appendTo(db, hashOf, entries)
  return {
    hashOf,
    append,
    list: async (query) => (await selection(db, query).execute()).map(toEntry),
    page: async (from, limit) =>
      (await db.selectFrom('audit').selectAll().where('seq', '>=', from).orderBy('seq').limit(limit).execute()).map(
        toEntry,
      ),
    indexed: async (from, to) => {
      const rows = await db
        .selectFrom('audit_subject')
        .selectAll()
        .where('seq', '>=', from)
        .where('seq', '<=', to)
        .execute()
      return rows.map(({ seq, subject }) => ({ seq: Number(seq), subject }))
    },
    head: async () => {
      const { seq, hash } = await db.selectFrom('audit_head').select(['seq', 'hash']).executeTakeFirstOrThrow()
      return { seq: Number(seq), hash }
    },
    prune: async (before, now) => {
      const last = await db
        .selectFrom('audit')
        .select(['seq', 'hash'])
        .where('at', '<', before)
        .orderBy('seq', 'desc')
        .limit(1)
        .executeTakeFirst()
      if (!last) return 0
      await sql`set local daysix.pruning = 'on'`.execute(db)
      const gone = await db.deleteFrom('audit').where('seq', '<=', last.seq).returning('seq').execute()
      await sql`set local daysix.pruning = 'off'`.execute(db)
      const facts = { upTo: Number(last.seq), hash: last.hash }
      await append([
        {
          at: now,
          actorKind: 'service',
          actorId: 'retention',
          what: 'audit-pruned',
          subjects: [],
          clinicId: null,
          facts,
        },
      ])
      return gone.length
    },
  }
}

async function appendTo(
  db: AccessDb,
  hashOf: AuditRecords['hashOf'],
  entries: readonly AuditEntry[],
): Promise<ChainedEntry[]> {
  const [head] = await db.rows(HEAD)
  const { seq, hash } = head!
  const chained: ChainedEntry[] = []
  let link = { seq: Number(seq), hash }
  for (const entry of entries) {
    const next = { ...entry, seq: link.seq + 1, previous: link.hash }
    chained.push({ ...next, hash: hashOf(next) })
    link = chained.at(-1)!
  }
  if (chained.length === 0) return []
  const subjects = chained.flatMap((entry) =>
    [...new Set(entry.subjects)].map((subject) => ({ subject, seq: entry.seq })),
  )
  void db.write(APPEND, [asJson(chained.map(toRow)), asJson(subjects), link.seq, link.hash])
  return chained
}

function toRow({
  seq,
  at,
  actorKind,
  actorId,
  what,
  clinicId,
  subjects,
  facts,
  previous,
  hash,
}: ChainedEntry): AuditTable {
  // Subjects are repeated here in their order, so that the hash can be made again whatever the index table says.
  return {
    seq,
    at,
    actor_kind: actorKind,
    actor_id: actorId,
    what,
    clinic_id: clinicId,
    facts: JSON.stringify({ facts, subjects }),
    previous,
    hash,
  }
}

function toEntry(row: AuditTable): ChainedEntry {
  const { facts, subjects } = JSON.parse(row.facts) as Pick<ChainedEntry, 'facts' | 'subjects'>
  return {
    seq: Number(row.seq),
    at: row.at,
    actorKind: row.actor_kind,
    actorId: row.actor_id,
    what: row.what,
    subjects,
    clinicId: row.clinic_id,
    facts,
    previous: row.previous,
    hash: row.hash,
  }
}
