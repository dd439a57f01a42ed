import { sql } from 'kysely'
import { UNSENT, type Message } from '../../../domain/messages/message.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type { SendJob, DispatchRecords, Figures, DispatchContext, WorkerRecords } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'
import { lockNumbers } from '../number-lock.ts'
import { rowsOf } from '../prepared-statements.ts'
import type { Db, MessageTable } from '../tables.ts'
import { bookingsById } from '../visits/booking.records.ts'
import { pendingOffers } from '../visits/slot.records.ts'
import { clinicsById } from '../region/clinic.records.ts'
import { sealedWith, toMessage } from './message.records.ts'
import { patientRecords } from '../patients/patient.records.ts'

/** Timers may be a little early. */
const EARLY_MS = 1_000

const byId = <T extends { id: string }>(records: readonly T[]) => new Map(records.map((record) => [record.id, record]))
const distinct = (values: readonly (string | null)[]) => [...new Set(values.filter((value) => value !== null))]

const ALARM = ['id', 'revision', 'attempt', 'send_at'] as const
const toAlarm = (row: Pick<MessageTable, (typeof ALARM)[number]>): SendJob => ({
  messageId: row.id,
  revision: row.revision,
  attempt: row.attempt,
  at: row.send_at,
})

/** The switch is thrown for the clinic of a message, or for everybody. */
const isStopped = sql<boolean>`exists (select from sending_stop where scope = 'region' or scope = message.clinic_id)`

export function dispatchRecords(db: Db, vault: Vault): DispatchRecords {
  const all = () => db.selectFrom('message').selectAll()
  const many = async (query: { execute(): Promise<MessageTable[]> }) => (await query.execute()).map((row) => toMessage(row, vault))
  return {
    enqueueDue: async (until, limit) => {
      const waiting = db.selectFrom('message').select('id').where('state', '=', 'planned').where('send_at', '<', until)
      const next = waiting.orderBy('send_at').orderBy('id').limit(limit).forUpdate().skipLocked()
      // As an array, found first: so that the planner cannot think of reading the whole table.
      const rows = await db.updateTable('message').set({ state: 'queued' }).where('id', '=', sql<string>`any(array(${next}))`).returning(ALARM).execute()
      return rows.map(toAlarm)
    },
    due: async (jobs, now) => {
      const ids = jobs.map(({ messageId }) => messageId)
      const locked = lockNumbers(db, sql`select phone_print from message where id = any(${ids}::text[])`)
      const found = sql<MessageTable>`select message.* from message
        join unnest(${ids}::text[], ${jobs.map(({ revision }) => revision)}::integer[]) as job (id, revision) on job.id = message.id
        where message.state in (${sql.join(UNSENT.map((state) => sql.lit(state)))})
          and message.revision is not distinct from job.revision
          and message.send_at <= ${new Date(now.getTime() + EARLY_MS)}
          and not ${isStopped}
        order by message.send_at, message.id
        for no key update of message skip locked`.execute(db)
      // The second goes after the first without a word in between; it sees what was committed until the numbers were free.
      const [, { rows }] = await Promise.all([locked, found])
      return rows.map((row) => toMessage(row, vault))
    },
    context: (messages, since) => surroundings(db, vault, messages, since),
    claim: async (claims, workerId, now) => {
      const ids = claims.map(({ message }) => message.id)
      const sealed = claims.map(({ message, text }) => sealedWith(message, text, vault))
      await sql`update message
        set state = 'sending', attempt = attempt + 1, claimed_at = ${now}, claimed_by = ${workerId}, sealed = claim.sealed
        from unnest(${ids}::text[], ${sealed}::text[]) as claim (id, sealed) where message.id = claim.id`.execute(db)
    },
    accept: async (facts, at) => {
      const ids = facts.map(({ id }) => id)
      // A receipt may have been quicker than this record; and a claim that was given up for lost was accepted after all.
      const { rows } = await sql<{ id: string }>`update message
        set state = case when message.state in ('sending', 'queued') or message.code = 'claim-lost' then 'sent' else message.state end,
          sent_at = coalesce(sent_at, ${at}), gateway_ref = coalesce(gateway_ref, fact.ref),
          code = case when message.state in ('sending', 'queued') or message.code = 'claim-lost' then null else message.code end,
          ended_at = case when message.code = 'claim-lost' then null else message.ended_at end
        from unnest(${ids}::text[], ${facts.map(({ attempt }) => attempt)}::integer[], ${facts.map(({ ref }) => ref)}::text[]) as fact (id, attempt, ref)
        where message.id = fact.id and message.attempt = fact.attempt and message.state in ('sending', 'queued', 'delivered', 'undelivered')
        returning message.id`.execute(db)
      return rows.map(({ id }) => id)
    },
    takeEarlyReceipts: async (refs) => {
      if (refs.length === 0) return []
      const { rows } = await sql<{ gateway: string; ref: string; state: 'delivered' | 'undelivered'; code: string | null; at: Date }>`
        delete from early_receipt using unnest(${refs.map(({ gateway }) => gateway)}::text[], ${refs.map(({ ref }) => ref)}::text[]) as known (gateway, ref)
        where early_receipt.gateway = known.gateway and early_receipt.ref = known.ref returning early_receipt.*`.execute(db)
      return rows.map(({ code, ...row }) => ({ ...row, ...(code && { code }) }))
    },
    overdue: async (before, limit) => {
      const query = db.selectFrom('message').select(ALARM).where('state', '=', 'queued').where('send_at', '<', before).where(({ not }) => not(isStopped))
      return (await query.orderBy('send_at').limit(limit).execute()).map(toAlarm)
    },
    dueIn: (clinicId, now, limit) =>
      many(
        all()
          .where('state', 'in', [...UNSENT])
          .where('send_at', '<=', now)
          .$if(clinicId !== null, (query) => query.where('clinic_id', '=', clinicId!))
          .orderBy('send_at')
          .limit(limit),
      ),
    worthless: (now, limit) => many(all().where('state', 'in', [...UNSENT]).where('not_after', '<=', now).orderBy('not_after').limit(limit)),
    stuck: (limit) =>
      many(
        all()
          .where('state', '=', 'sending')
          .where(({ not, exists, selectFrom }) => not(exists(selectFrom('worker').select('worker.id').whereRef('worker.id', '=', 'message.claimed_by'))))
          .orderBy('claimed_at')
          .limit(limit),
      ),
    claimedBy: (workerId) => many(all().where('state', '=', 'sending').where('claimed_by', '=', workerId)),
    undelivered: async (sentBefore, markBefore, silent, limit) => {
      const prep = () =>
        all()
          .where('state', '=', 'sent')
          .where('kind', 'in', [sql.lit('prep'), sql.lit('late-prep')])
          .$if(silent.length > 0, (query) => query.where('gateway', 'not in', [...silent]))
      const late = await many(prep().where('sent_at', '<=', sentBefore).orderBy('sent_at').limit(limit))
      const pressing = await many(prep().where('not_after', '<=', markBefore).orderBy('not_after').limit(limit))
      return [...byId([...late, ...pressing]).values()].slice(0, limit)
    },
    crossedReceipts: async (limit) => {
      const { rows } = await sql<{ gateway: string; ref: string; messageId: string }>`
        select early.gateway, early.ref, message.id as "messageId" from early_receipt as early
        join message on message.gateway = early.gateway and message.gateway_ref = early.ref limit ${limit}`.execute(db)
      return rows
    },
    figures: (now) => figures(db, now),
  }
}

/** Each count reads a partial index that holds little. */
async function figures(db: Db, now: Date): Promise<Figures> {
  const { rows } = await sql<{ overdue: string; oldest: Date | null; claimed: string; workers: string }>`select
    (select count(*) from message where state = 'queued' and send_at < ${now}) as overdue,
    (select min(send_at) from message where state = 'queued' and send_at < ${now}) as oldest,
    (select count(*) from message where state = 'sending') as claimed,
    (select count(*) from worker) as workers`.execute(db)
  const open = await db
    .selectFrom('follow_up')
    .select(['urgency', (eb) => eb.fn.countAll().as('count')])
    .where('closed_at', 'is', null)
    .groupBy('urgency')
    .execute()
  const [{ overdue, oldest, claimed, workers } = { overdue: 0, oldest: null, claimed: 0, workers: 0 }] = rows
  return {
    overdue: Number(overdue),
    oldestSeconds: oldest ? (now.getTime() - oldest.getTime()) / 1000 : 0,
    claimed: Number(claimed),
    workers: Number(workers),
    followUps: new Map(open.map(({ urgency, count }) => [urgency, Number(count)])),
  }
}

async function surroundings(db: Db, vault: Vault, messages: readonly Message[], since: Date): Promise<DispatchContext> {
  const phones = new Map(messages.map(({ phone }) => [vault.fingerprint(phone), phone]))
  const patientIds = distinct(messages.map(({ patientId }) => patientId))
  const offering = distinct(messages.filter(isAboutOffer).map(({ bookingId }) => bookingId))
  const [optedOut, consents, bookings, patients, clinics, offers, recent] = await Promise.all([
    rowsOf<{ phone_print: string }>(db, 'select phone_print from opt_out where phone_print = any($1)', [[...phones.keys()]]),
    rowsOf<{ patient_id: string; channel: Channel }>(db, 'select patient_id, channel from consent where patient_id = any($1) and withdrawn_at is null', [patientIds]),
    bookingsById(db, vault, distinct(messages.map(({ bookingId }) => bookingId))),
    patientRecords(db, vault).many(patientIds),
    clinicsById(db, distinct(messages.map(({ clinicId }) => clinicId))),
    pendingOffers(db, offering),
    lately(db, phones, since),
  ])
  const channels = new Map(patientIds.map((id) => [id, new Set<Channel>()]))
  for (const { patient_id, channel } of consents) channels.get(patient_id)?.add(channel)
  return {
    bookings: byId(bookings),
    patients: byId(patients),
    clinics: byId(clinics),
    offers,
    channels,
    optedOut: new Set(optedOut.map(({ phone_print }) => phones.get(phone_print)!)),
    lately: recent,
  }
}

const isAboutOffer = ({ kind }: Message) => kind === 'offer' || kind === 'move-asked'

async function lately(db: Db, phones: ReadonlyMap<string, string>, since: Date): Promise<DispatchContext['lately']> {
  const { rows } = await sql<{ id: string; phone_print: string; at: Date }>`
    select id, phone_print, coalesce(sent_at, claimed_at) as at from message
    where phone_print = any(${[...phones.keys()]}::text[]) and send_at >= ${since} and unsolicited
      and state in ('sending', 'sent', 'delivered', 'undelivered') and coalesce(sent_at, claimed_at) is not null`.execute(db)
  return rows.map(({ id, phone_print, at }) => ({ id, phone: phones.get(phone_print)!, at }))
}

export function workerRecords(db: Db): WorkerRecords {
  return {
    beat: async (id) => {
      await db
        .insertInto('worker')
        .values({ id })
        .onConflict((on) => on.column('id').doUpdateSet({ seen_at: sql<Date>`now()` }))
        .execute()
    },
    ensure: async (id) => {
      await db.insertInto('worker').values({ id }).onConflict((on) => on.doNothing()).execute()
    },
    leave: async (id) => {
      await db.deleteFrom('worker').where('id', '=', id).execute()
    },
    forgetSilent: async (seconds) => {
      const { rows } = await sql`delete from worker where seen_at < now() - make_interval(secs => ${seconds}) returning id`.execute(db)
      return rows.length
    },
    forgetOthers: async (id) => {
      await db.deleteFrom('worker').where('id', '<>', id).execute()
    },
  }
}
