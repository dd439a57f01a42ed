import type { SentParts } from '../../../flows/ports/gateway-memory.ts'
import type { Db } from '../connections.ts'
import { prepared } from '../prepared-statements.ts'
import type { SentPartTable } from '../gateway-memory.tables.ts'

/** A peer may give an id again: a receipt without a part counts for one that was accepted about then. */
const ABOUT_THEN = `interval '10 minutes'`

const ACCEPTED = prepared<{ known: boolean }>(`insert into sent_part
    (gateway, ref, sending, message_id, parts, at) values ($1, $2, $3, $4, $5, $6)
  on conflict (gateway, ref) do update set
    sending = excluded.sending, message_id = excluded.message_id, parts = excluded.parts, at = excluded.at,
    state = case when sent_part.sending = excluded.sending
      or (sent_part.sending is null and sent_part.at > excluded.at - ${ABOUT_THEN}) then sent_part.state end
  returning state is not null as known`)
const TOLD = prepared<{ sending: string | null }>(`insert into sent_part (gateway, ref, state, code, at)
    values ($1, $2, $3, $4, $5)
  on conflict (gateway, ref) do update set at = excluded.at,
    state = case when sent_part.state = 'delivered' then sent_part.state else excluded.state end,
    code = case when sent_part.state = 'delivered' then sent_part.code else excluded.code end
  returning sending`)
const OF_SENDING = prepared<Pick<SentPartTable, 'message_id' | 'parts' | 'state' | 'code'>>(
  'select message_id, parts, state, code from sent_part where sending = $1',
)
const UNTOLD = prepared<{ sending: string }>(`select sending from sent_part
  where gateway = $1 and state = 'delivered' and sending is not null
  group by sending having count(*) >= max(parts) and max(at) <= $2`)
const DONE = prepared('delete from sent_part where sending = $1')
const FORGET_STRAY = prepared('delete from sent_part where at <= $1 and sending is null')

/** The peer's ids of what was sent. Whichever of acceptance and receipt is written second finds the other. */
export function sentPartRecords(db: Db): SentParts {
  return {
    accepted: async ({ gateway, ref, sending, messageId, parts, at }) => {
      const [row] = await db.rows(ACCEPTED, [gateway, ref, sending, messageId, parts, at])
      return row!.known
    },
    told: async ({ gateway, ref, state, code, at }) => {
      const [row] = await db.rows(TOLD, [gateway, ref, state, code ?? null, at])
      return row!.sending ?? undefined
    },
    ofSending: async (sending) => {
      const rows = await db.rows(OF_SENDING, [sending])
      const [first] = rows
      if (first === undefined) return undefined
      const known = rows.flatMap(({ state, code }) =>
        state === null ? [] : [{ state, ...(code !== null && { code }) }],
      )
      return { messageId: first.message_id!, parts: first.parts!, known }
    },
    untold: async (gateway, before) => (await db.rows(UNTOLD, [gateway, before])).map(({ sending }) => sending),
    done: (sending) => db.write(DONE, [sending]),
    forgetStray: (before) => db.write(FORGET_STRAY, [before]),
  }
}
