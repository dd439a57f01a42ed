import { CAME_BACK, type NumberSigns } from '../../../domain/patients/changed-hands.ts'
import { NOT_REACHED } from '../../../domain/messages/voice/retry-call.ts'
import { prepared } from '../prepared-statements.ts'
import type { Db } from '../connections.ts'

const BEFORE = '($3::timestamptz is null or'
/** What was shown on the page, said in a call or sent by e-mail went to nobody's telephone. */
const SENT_THERE = `phone_print = $1 and clinic_id = $2 and sent_at is not null and channel <> 'email'
  and coalesce(code, '') not in ('on-page', 'in-call') and ${BEFORE} coalesce(ended_at, sent_at) < $3)`
const DELIVERED = prepared<{ at: Date | null }>(
  `select max(coalesce(ended_at, sent_at)) as at from message where ${SENT_THERE} and state = 'delivered'`,
)
/** What retention has removed was seen all the same (see `removeReplies`). */
const HEARD = prepared<{ at: Date | null }>(`select greatest(
  (select max(received_at) from reply where phone_print = $1 and clinic_id = $2 and ${BEFORE} received_at < $3)),
  (select seen_at from sign_of_life where phone_print = $1 and clinic_id = $2 and ${BEFORE} seen_at < $3))) as at`)
/** That no receipt came says nothing of the number, nor that a call was not answered. */
const UNKNOWN = `'no-receipt', 'claim-lost'`
const UNANSWERED = [...NOT_REACHED].map((code) => `'${code}'`).join()
const ENDED = prepared<{ cameBack: boolean; at: Date }>(`select state = 'undelivered' as "cameBack",
    coalesce(ended_at, sent_at) as at from message
  where ${SENT_THERE} and (state = 'delivered' or state = 'undelivered' and coalesce(code, '') not in (${UNKNOWN})
    and not (channel = 'voice' and coalesce(code, '') in (${UNANSWERED})))
  order by send_at desc limit ${CAME_BACK}`)

/** What a clinic has last seen of a number, before an instant where one is given. */
export async function signsOf(db: Db, print: string, clinicId: string, before: Date | null): Promise<NumberSigns> {
  const about = [print, clinicId, before]
  const [[delivered], [heard], ended] = await Promise.all([
    db.rows(DELIVERED, about),
    db.rows(HEARD, about),
    db.rows(ENDED, about),
  ])
  const alive = [delivered?.at, heard?.at].flatMap((at) => at?.getTime() ?? [])
  return { alive: alive.length === 0 ? null : new Date(Math.max(...alive)), ended }
}
