import { sql, type Kysely } from 'kysely'

/**
 * The first tables. Columns named `sealed` hold encrypted JSON with everything that says who somebody is, when she
 * menstruates or what she wrote; `phone_print` is a keyed hash for look-up. All instants are timestamptz.
 */
export async function up(db: Kysely<unknown>): Promise<void> {
  for (const statement of STATEMENTS) await sql.raw(statement).execute(db)
}

const STATEMENTS = [
  `create table clinic (
    id text primary key,
    name text not null,
    phone text not null,
    zone text not null,
    country text not null,
    settings text not null
  )`,
  `create table patient (
    id text primary key,
    phone_print text not null,
    language text not null,
    channel text not null check (channel in ('sms', 'voice')),
    detail text not null check (detail in ('full', 'discreet')),
    sealed text not null
  )`,
  `create index patient_phone on patient (phone_print)`,
  `create table consent (
    id bigint generated always as identity primary key,
    patient_id text not null references patient (id),
    channel text not null check (channel in ('sms', 'voice')),
    recorded_by text not null,
    recorded_at timestamptz not null,
    wording text not null,
    withdrawn_at timestamptz
  )`,
  `create index consent_patient on consent (patient_id)`,
  `create table opt_out (
    phone_print text primary key,
    at timestamptz not null
  )`,
  `create table booking (
    id text primary key,
    patient_id text not null references patient (id),
    clinic_id text not null references clinic (id),
    clinician text not null,
    protocol text not null,
    visit_at timestamptz not null,
    zone text not null,
    state text not null check (state in ('booked', 'cancelled')),
    plan_revision integer not null,
    confirmed_at timestamptz,
    short_notice boolean not null,
    sealed_lapses text,
    created_at timestamptz not null
  )`,
  `create index booking_day on booking (clinic_id, visit_at, id)`,
  `create index booking_visit on booking (visit_at, id)`,
  `create index booking_patient on booking (patient_id, visit_at)`,
  `create unique index booking_once on booking (patient_id, visit_at) where state = 'booked'`,
  // One row for every time that exists, whoever has it: the unique key is what makes double booking impossible.
  `create table slot (
    id text primary key,
    clinic_id text not null references clinic (id),
    clinician text not null,
    starts_at timestamptz not null,
    state text not null check (state in ('free', 'held', 'taken')),
    booking_id text references booking (id),
    held_until timestamptz,
    unique (clinic_id, clinician, starts_at),
    check ((state = 'free') = (booking_id is null)),
    check ((state = 'held') = (held_until is not null))
  )`,
  `create index slot_open on slot (clinic_id, starts_at) where state <> 'taken'`,
  `create index slot_booking on slot (booking_id) where booking_id is not null`,
  `create index slot_held on slot (held_until) where state = 'held'`,
  `create table offer (
    id text primary key,
    booking_id text not null references booking (id),
    state text not null check (state in ('open', 'waiting', 'accepted', 'declined', 'lapsed', 'overtaken')),
    choices text not null,
    chosen integer,
    made_at timestamptz not null,
    until timestamptz not null
  )`,
  `create unique index offer_pending on offer (booking_id) where state in ('open', 'waiting')`,
  `create index offer_lapsing on offer (until) where state in ('open', 'waiting')`,
  `create table message (
    id text primary key,
    booking_id text references booking (id),
    patient_id text references patient (id),
    clinic_id text not null references clinic (id),
    phone_print text not null,
    kind text not null,
    channel text not null,
    detail text not null,
    language text not null,
    revision integer,
    unsolicited boolean not null,
    send_at timestamptz not null,
    not_after timestamptz not null,
    state text not null check (state in
      ('planned', 'queued', 'sending', 'sent', 'delivered', 'failed', 'expired', 'withdrawn', 'undelivered')),
    attempt integer not null,
    visit_at timestamptz,
    gateway text not null,
    gateway_ref text,
    sealed text not null,
    claimed_at timestamptz,
    sent_at timestamptz,
    ended_at timestamptz,
    code text,
    fallback_of text references message (id)
  )`,
  `create index message_due on message (send_at, id) where state = 'planned'`,
  `create index message_queued on message (send_at) where state = 'queued'`,
  `create index message_worthless on message (not_after) where state in ('planned', 'queued')`,
  `create index message_claimed on message (claimed_at) where state = 'sending'`,
  `create index message_prep_sent on message (sent_at) where state = 'sent' and kind in ('prep', 'late-prep')`,
  `create index message_booking on message (booking_id)`,
  `create index message_phone on message (phone_print, send_at)`,
  `create index message_ref on message (gateway, gateway_ref) where gateway_ref is not null`,
  `create table early_receipt (
    gateway text not null,
    ref text not null,
    state text not null check (state in ('delivered', 'undelivered')),
    code text,
    at timestamptz not null,
    primary key (gateway, ref)
  )`,
  `create table reply (
    id text primary key,
    gateway text not null,
    key text not null,
    phone_print text not null,
    sealed text not null,
    received_at timestamptz not null,
    booking_id text references booking (id),
    done text,
    unique (gateway, key)
  )`,
  `create index reply_phone on reply (phone_print, received_at)`,
  `create table thread (
    phone_print text primary key,
    sealed text not null
  )`,
  `create table follow_up (
    id text primary key,
    reason text not null,
    urgency integer not null,
    clinic_id text references clinic (id),
    booking_id text references booking (id),
    patient_id text references patient (id),
    sealed text not null,
    opened_at timestamptz not null,
    closed_at timestamptz,
    closed_by text,
    outcome text
  )`,
  `create index follow_up_open on follow_up (urgency, opened_at, id) where closed_at is null`,
  `create index follow_up_booking on follow_up (booking_id)`,
  `create table happening (
    id bigint generated always as identity primary key,
    at timestamptz not null,
    booking_id text references booking (id),
    what text not null,
    by text not null,
    facts text not null
  )`,
  `create index happening_booking on happening (booking_id, id)`,
  `create table idempotency (
    key text primary key,
    request_hash text not null,
    status integer not null,
    sealed text not null,
    at timestamptz not null
  )`,
]
