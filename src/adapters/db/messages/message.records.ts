import { type Message, SENT_STATES, UNSENT } from '../../../domain/messages/message.ts'
import type { MessageRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { insertInto, prepared } from '../prepared-statements.ts'
import type { MessageTable } from '../tables.ts'
import type { Db } from '../connections.ts'
import { fieldOf, MESSAGE_COLUMNS, toMessage, toRow } from './message.rows.ts'
import { messageFigures } from './message-figures.ts'
import { statesOf } from './message-states.ts'
import { signsOf } from './number-signs.ts'

const INSERT = insertInto('message', MESSAGE_COLUMNS)

/**
 * The facts of a move that are columns of their own. The words are sealed, so they need the whole message: see `move`.
 */
function changesOf(facts: Partial<Message>): Partial<MessageTable> {
  return {
    ...(facts.sendAt && { send_at: facts.sendAt }),
    ...(facts.attempt !== undefined && { attempt: facts.attempt }),
    ...(facts.gatewayRef !== undefined && { gateway_ref: facts.gatewayRef }),
    ...(facts.gateway && { gateway: facts.gateway }),
    ...(facts.claimedAt !== undefined && { claimed_at: facts.claimedAt }),
    ...(facts.sentAt !== undefined && { sent_at: facts.sentAt }),
    ...(facts.endedAt !== undefined && { ended_at: facts.endedAt }),
    ...(facts.code !== undefined && { code: facts.code }),
  }
}

const GET = prepared<MessageTable>(`select ${MESSAGE_COLUMNS.join()} from message where id = $1`)
const UNSOLICITED_TO = prepared<Pick<MessageTable, 'send_at' | 'sent_at'>>(`select send_at, sent_at from message
  where phone_print = $1 and unsolicited and send_at >= $2 and state in (${statesOf([...UNSENT, ...SENT_STATES])})
    and not coalesce(booking_id = $3 and state in (${statesOf(UNSENT)}), false)`)
const WRITERS = prepared<{
  clinicId: string
  at: Date
}>(`select clinic_id as "clinicId", max(sent_at) as at from message
  where phone_print = $1 and channel <> 'email' and state in ('sent', 'delivered') and sent_at <= $2 and coalesce(code, '') not in ('on-page', 'in-call')
  group by clinic_id order by at desc`)
const COUNT_ANSWERS = prepared<{ count: number }>(`select count(*)::int as count from message
  where phone_print = $1 and clinic_id = $2 and send_at >= $3 and prompted`)

export function messageRecords(db: Db, vault: Vault): MessageRecords {
  const all = () => db.selectFrom('message').selectAll()
  const many = async (query: { execute(): Promise<MessageTable[]> }) =>
    (await query.execute()).map((row) => toMessage(row, vault))
  const one = async (query: { executeTakeFirst(): Promise<MessageTable | undefined> }) => {
    const row = await query.executeTakeFirst()
    return row && toMessage(row, vault)
  }
  const print = (phone: string) => vault.fingerprint(phone)

  return {
    get: async (id) => {
      const [row] = await db.rows(GET, [id])
      return row && toMessage(row, vault)
    },
    lock: (id) => one(all().where('id', '=', id).forNoKeyUpdate()),
    byRef: (gateway, ref) => one(all().where('gateway', '=', gateway).where('gateway_ref', '=', ref)),
    keepEarlyReceipt: async ({ gateway, ref, state, code, at }) => {
      const row = { gateway, ref: ref!, state, code: code ?? null, at }
      await db
        .insertInto('early_receipt')
        .values(row)
        .onConflict((on) => on.columns(['gateway', 'ref']).doUpdateSet({ state, code: row.code, at }))
        .execute()
    },
    insert: (messages) =>
      db.insert(
        INSERT,
        messages.map((message) => toRow(message, vault)),
      ),
    ofBooking: (bookingId) => many(all().where('booking_id', '=', bookingId).orderBy('send_at').orderBy('id')),
    ofBookings: async (ids) =>
      ids.length === 0
        ? []
        : many(
            all()
              .where('booking_id', 'in', [...ids])
              .orderBy('send_at')
              .orderBy('id'),
          ),
    toPhone: (phone, clinicId, since) =>
      many(
        all()
          .where('phone_print', '=', print(phone))
          .where('clinic_id', '=', clinicId)
          .where('send_at', '>=', since)
          .orderBy('send_at')
          .orderBy('id'),
      ),
    writers: (phone, until) => db.rows(WRITERS, [print(phone), until]),
    unplanned: (patientId) => {
      const waiting = all()
        .where('patient_id', '=', patientId)
        .where('state', 'in', [...UNSENT])
      return many(waiting.where('revision', 'is', null).orderBy('send_at').orderBy('id'))
    },
    signsOf: (phone, clinicId, before) => signsOf(db, print(phone), clinicId, before),
    countAnswers: async (phone, clinicId, since) =>
      (await db.rows(COUNT_ANSWERS, [print(phone), clinicId, since]))[0]!.count,
    unsolicitedTo: async (phone, since, exceptUnsentOf) => {
      const rows = await db.rows(UNSOLICITED_TO, [print(phone), since, exceptUnsentOf])
      return rows.map((row) => row.sent_at ?? row.send_at)
    },
    move: async (id, from, to, facts = {}) => {
      let sealed: { sealed?: string } = {}
      if (facts.text !== undefined) {
        const row = await all().where('id', '=', id).executeTakeFirstOrThrow()
        const field = fieldOf(vault)
        sealed = { sealed: field.seal({ ...field.open(row.sealed, [id]), text: facts.text }, id) }
      }
      const moved = await db
        .updateTable('message')
        .set({ state: to, ...changesOf(facts), ...sealed })
        .where('id', '=', id)
        .where('state', 'in', [...from])
        .returning('id')
        .executeTakeFirst()
      return moved !== undefined
    },
    figures: (now, since) => messageFigures(db, now, since),
    withdrawUnsent: async (where, code, now) => {
      const rows = await db
        .updateTable('message')
        .set({ state: 'withdrawn', code, ended_at: now })
        .where('state', 'in', [...UNSENT])
        .$if('plan' in where, (query) =>
          query.where('booking_id', '=', (where as { plan: string }).plan).where('revision', 'is not', null),
        )
        .$if('patient' in where, (query) => query.where('patient_id', '=', (where as { patient: string }).patient))
        .$if('phone' in where, (query) => query.where('phone_print', '=', print((where as { phone: string }).phone)))
        .returning('id')
        .execute()
      return rows.length
    },
  }
}
