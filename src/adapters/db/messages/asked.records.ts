import { QUESTION_SETTLED, type DispatchRecords } from '../../../flows/ports/dispatch.ts'
import type { Db } from '../connections.ts'
import { prepared } from '../prepared-statements.ts'

/** The kinds and states as the index `message_asked` names them. */
const ASKED_LATELY = prepared<{ bookingId: string; at: Date }>(`
  select asked.booking_id as "bookingId", asked.sent_at as at from message as asked
  join booking on booking.id = asked.booking_id and booking.visit_at = asked.visit_at
  where asked.kind in ('cycle-check', 'cycle-check-again') and asked.state in ('sent', 'delivered', 'undelivered')
    and asked.sent_at >= $1 and asked.sent_at <= $2 and booking.state = 'booked' and booking.visit_at > $3
    and not exists (select from message as later where later.booking_id = asked.booking_id
      and later.kind = 'cycle-check-again' and later.id <> asked.id
      and (later.state in ('planned', 'queued', 'sending') or later.sent_at > asked.sent_at))
    and not exists (select from happening where happening.booking_id = asked.booking_id
      and happening.what = '${QUESTION_SETTLED}' and happening.at >= asked.sent_at)
  order by asked.sent_at limit $4`)

/** Questions whose answer is due; see `DispatchRecords`. */
export const askedRecords = (db: Db): Pick<DispatchRecords, 'askedLately'> => ({
  askedLately: ({ from, to }, now, limit) => db.rows(ASKED_LATELY, [from, to, now, limit]),
})
