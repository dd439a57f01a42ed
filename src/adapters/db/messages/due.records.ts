import { sql } from 'kysely'
import { UNSENT } from '../../../domain/messages/message.ts'
import type { DispatchRecords } from '../../../flows/ports/deps.ts'
import type { Receipt } from '../../../flows/ports/gateway.ts'
import type { Vault } from '../../vault/vault.ts'
import { LOCK_NUMBERS_OF_MESSAGES } from '../number-lock.ts'
import { prepared } from '../prepared-statements.ts'
import type { EarlyReceiptTable, MessageTable } from '../tables.ts'
import type { Db } from '../connections.ts'
import { dispatchContext } from './dispatch-context.ts'
import { MESSAGE_COLUMNS, sealedWith, toMessage } from './message.rows.ts'

/** Timers may be a little early. */
const EARLY_MS = 1_000

/** The switch is thrown for the clinic of a message, or for everybody. */
export const IS_STOPPED = `exists (select from sending_stop where scope = 'region' or scope = message.clinic_id)`

const DUE = prepared<MessageTable>(`select ${MESSAGE_COLUMNS.map((column) => `message.${column}`).join()} from message
  join unnest($1::text[], $2::integer[]) as job (id, revision) on job.id = message.id
  where message.state in (${UNSENT.map((state) => `'${state}'`).join()})
    and message.revision is not distinct from job.revision and message.send_at <= $3 and not ${IS_STOPPED}
  order by message.send_at, message.id
  for no key update of message skip locked`)
const CLAIM = prepared(`update message
  set state = 'sending', attempt = attempt + 1, claimed_at = $3, claimed_by = $4, sealed = claim.sealed
  from unnest($1::text[], $2::text[]) as claim (id, sealed) where message.id = claim.id`)
/** A receipt may have been quicker than this record; and a claim that was given up for lost was accepted after all. */
const ACCEPT = prepared<{ id: string }>(`update message
  set state = case when message.state in ('sending', 'queued') or message.code = 'claim-lost' then 'sent' else message.state end,
    sent_at = coalesce(sent_at, $4), gateway_ref = coalesce(gateway_ref, fact.ref),
    code = case when message.state in ('sending', 'queued') or message.code = 'claim-lost' then null else message.code end,
    ended_at = case when message.code = 'claim-lost' then null else message.ended_at end
  from unnest($1::text[], $2::integer[], $3::text[]) as fact (id, attempt, ref)
  where message.id = fact.id and message.attempt = fact.attempt
    and message.state in ('sending', 'queued', 'delivered', 'undelivered')
  returning message.id`)

/** What sending asks of the messages that are due, many at a time: the traffic of a country goes through here. */
export function dueRecords(
  db: Db,
  vault: Vault,
): Pick<DispatchRecords, 'due' | 'context' | 'claim' | 'accept' | 'takeEarlyReceipts'> {
  return {
    due: async (jobs, now) => {
      const ids = jobs.map(({ messageId }) => messageId)
      const latest = new Date(now.getTime() + EARLY_MS)
      // The second goes after the first without a word in between; it sees what was committed until the numbers were
      // free.
      const [, rows] = await Promise.all([
        db.rows(LOCK_NUMBERS_OF_MESSAGES, [ids]),
        db.rows(DUE, [ids, jobs.map(({ revision }) => revision), latest]),
      ])
      return rows.map((row) => toMessage(row, vault))
    },
    context: (messages, since, now) => dispatchContext(db, vault, messages, since, now),
    claim: (claims, workerId, now) => {
      const sealed = claims.map(({ message, text }) => sealedWith(message, text, vault))
      return db.write(CLAIM, [claims.map(({ message }) => message.id), sealed, now, workerId])
    },
    accept: async (facts, at) => {
      const attempts = facts.map(({ attempt }) => attempt)
      const rows = await db.rows(ACCEPT, [facts.map(({ id }) => id), attempts, facts.map(({ ref }) => ref), at])
      return rows.map(({ id }) => id)
    },
    takeEarlyReceipts: (refs) => takeEarlyReceipts(db, refs),
  }
}

/** Not prepared: a plan made for any number of them would read the whole table. */
async function takeEarlyReceipts(db: Db, refs: readonly { gateway: string; ref: string }[]): Promise<Receipt[]> {
  if (refs.length === 0) return []
  const { rows } = await sql<EarlyReceiptTable>`delete from early_receipt
    using unnest(${refs.map(({ gateway }) => gateway)}::text[], ${refs.map(({ ref }) => ref)}::text[]) as known
      (gateway, ref)
    where early_receipt.gateway = known.gateway and early_receipt.ref = known.ref
    returning early_receipt.*`.execute(db)
  return rows.map(({ code, ...row }) => ({ ...row, ...(code && { code }) }))
}
