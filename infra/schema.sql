-- Written by tests/store/schema.test.ts from the migrations: for reading, not for running.

table api_key
  id text not null
  hash text not null
  name text not null
  may text not null
  clinic_id text
  created_at timestamp with time zone not null
  expires_at timestamp with time zone
  revoked_at timestamp with time zone
  used_at timestamp with time zone
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (id)
table audit
  seq bigint not null
  at timestamp with time zone not null
  actor_kind text not null
  actor_id text not null
  what text not null
  clinic_id text
  facts text not null
  previous text not null
  hash text not null
  PRIMARY KEY (seq)
table audit_head
  one boolean not null default true
  seq bigint not null
  hash text not null
  CHECK (one)
  PRIMARY KEY (one)
table audit_subject
  subject text not null
  seq bigint not null
  FOREIGN KEY (seq) REFERENCES audit(seq) ON DELETE CASCADE
  PRIMARY KEY (subject, seq)
table backup_run
  at timestamp with time zone not null
  outcome text not null
  bytes bigint
  detail text
  PRIMARY KEY (at)
table booking
  id text not null
  patient_id text not null
  clinic_id text not null
  clinician text not null
  protocol text not null
  visit_at timestamp with time zone not null
  zone text not null
  state text not null
  plan_revision integer not null
  confirmed_at timestamp with time zone
  short_notice boolean not null
  sealed_lapses text
  created_at timestamp with time zone not null
  plan_basis text not null default ''::text
  first_visit_at timestamp with time zone not null
  moves integer not null default 0
  purpose text not null default 'routine'::text
  due_by text
  sealed_needs text
  outcome text
  outcome_because text
  outcome_at timestamp with time zone
  outcome_by text
  minutes integer not null default 10
  sealed_outcome text
  CHECK ((state = ANY (ARRAY['booked'::text, 'cancelled'::text])))
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  FOREIGN KEY (patient_id) REFERENCES patient(id)
  PRIMARY KEY (id)
table clinic
  id text not null
  name text not null
  phone text not null
  zone text not null
  country text not null
  settings text not null
  PRIMARY KEY (id)
table consent
  id bigint not null generated as identity
  patient_id text not null
  channel text not null
  recorded_by text
  recorded_at timestamp with time zone not null
  wording text
  withdrawn_at timestamp with time zone
  until text
  given_by text not null default 'patient'::text
  sealed text
  CHECK ((channel = ANY (ARRAY['sms'::text, 'voice'::text, 'email'::text])))
  CHECK ((given_by = ANY (ARRAY['patient'::text, 'receiver'::text])))
  FOREIGN KEY (patient_id) REFERENCES patient(id)
  PRIMARY KEY (id)
table early_receipt
  gateway text not null
  ref text not null
  state text not null
  code text
  at timestamp with time zone not null
  CHECK ((state = ANY (ARRAY['delivered'::text, 'undelivered'::text])))
  PRIMARY KEY (gateway, ref)
table erased_count
  month text not null
  clinic_id text not null
  what text not null
  count integer not null
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (month, clinic_id, what)
table feed
  name text not null
  arrivals bigint not null default 0
  heard_at timestamp with time zone
  polled_to timestamp with time zone
  made_at timestamp with time zone
  PRIMARY KEY (name)
table feed_alias
  id text not null
  into_id text not null
  feed text not null
  sealed text not null
  changed_at timestamp with time zone not null
  PRIMARY KEY (id)
table feed_code
  feed text not null
  part text not null
  code text not null
  ours text not null
  at timestamp with time zone not null
  PRIMARY KEY (feed, part, code)
table feed_day
  feed text not null
  day text not null
  does text not null
  count bigint not null
  PRIMARY KEY (feed, day, does)
table feed_erased
  id text not null
  PRIMARY KEY (id)
table feed_fault
  id text not null
  feed text not null
  at timestamp with time zone not null
  does text not null
  clinic_id text
  sealed text not null
  PRIMARY KEY (id)
table feed_patient
  id text not null
  feed text not null
  sealed text not null
  changed_at timestamp with time zone not null
  PRIMARY KEY (id)
table feed_resource
  id text not null
  feed text not null
  version integer not null
  at timestamp with time zone not null
  visit_id text
  identifier_prints text[] not null
  sealed text not null
  PRIMARY KEY (id)
table feed_seen
  id text not null
  at timestamp with time zone not null
  PRIMARY KEY (id)
table feed_series
  id text not null
  feed text not null
  sealed text not null
  changed_at timestamp with time zone not null
  PRIMARY KEY (id)
table feed_telling
  id text not null
  feed text not null
  booking_id text not null
  sealed text not null
  made_at timestamp with time zone not null
  due_at timestamp with time zone not null
  failures integer not null default 0
  ended_at timestamp with time zone
  ended text
  FOREIGN KEY (booking_id) REFERENCES booking(id) ON DELETE CASCADE
  PRIMARY KEY (id)
table feed_visit
  id text not null
  feed text not null
  patient_print text
  series_print text not null
  sealed text not null
  booking_id text
  clinic_id text
  visit_at timestamp with time zone
  waits boolean not null default false
  follow_up_id text
  changed_at timestamp with time zone not null
  FOREIGN KEY (booking_id) REFERENCES booking(id) ON DELETE CASCADE
  PRIMARY KEY (id)
table figure_sample
  at timestamp with time zone not null
  overdue integer not null
  oldest_seconds integer not null
  sent integer not null
  not_arrived integer not null
  urgent_calls integer not null
  workers integer not null
  sweep_seconds real
  PRIMARY KEY (at)
table follow_up
  id text not null
  reason text not null
  urgency integer not null
  clinic_id text
  booking_id text
  patient_id text
  sealed text not null
  opened_at timestamp with time zone not null
  closed_at timestamp with time zone
  closed_by text
  outcome text
  reply_id text
  phone_print text
  sealed_end text
  FOREIGN KEY (booking_id) REFERENCES booking(id)
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  FOREIGN KEY (patient_id) REFERENCES patient(id)
  PRIMARY KEY (id)
table happening
  id bigint not null generated as identity
  at timestamp with time zone not null
  booking_id text
  what text not null
  by text
  facts text
  sealed text
  FOREIGN KEY (booking_id) REFERENCES booking(id)
  PRIMARY KEY (id)
table idempotency
  key text not null
  request_hash text not null
  status integer not null
  sealed text not null
  at timestamp with time zone not null
  PRIMARY KEY (key)
table key_check
  one boolean not null default true
  print text not null
  bound text
  CHECK (one)
  PRIMARY KEY (one)
table long_reply
  id text not null
  gateway text not null
  text_print text not null
  phone_print text not null
  total integer not null
  part_prints text[] not null
  sealed text
  came_at timestamp with time zone not null
  closed_at timestamp with time zone
  heard_at timestamp with time zone
  PRIMARY KEY (id)
table message
  id text not null
  booking_id text
  patient_id text
  clinic_id text not null
  phone_print text not null
  kind text not null
  channel text not null
  detail text not null
  language text not null
  revision integer
  unsolicited boolean not null
  send_at timestamp with time zone not null
  not_after timestamp with time zone not null
  state text not null
  attempt integer not null
  visit_at timestamp with time zone
  gateway text not null
  gateway_ref text
  sealed text not null
  claimed_at timestamp with time zone
  sent_at timestamp with time zone
  ended_at timestamp with time zone
  code text
  fallback_of text
  claimed_by text
  prompted boolean not null default false
  by_hand boolean not null default false
  confirms boolean not null default false
  CHECK ((state = ANY (ARRAY['planned'::text, 'queued'::text, 'sending'::text, 'sent'::text, 'delivered'::text, 'failed'::text, 'expired'::text, 'withdrawn'::text, 'undelivered'::text])))
  FOREIGN KEY (booking_id) REFERENCES booking(id)
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  FOREIGN KEY (fallback_of) REFERENCES message(id)
  FOREIGN KEY (patient_id) REFERENCES patient(id)
  PRIMARY KEY (id)
table near_miss
  id text not null
  clinic_id text not null
  happened_at timestamp with time zone not null
  recorded_at timestamp with time zone not null
  kind text not null
  reach text not null
  sealed text not null
  reviewed_at timestamp with time zone
  sealed_review text
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (id)
table offer
  id text not null
  booking_id text not null
  state text not null
  choices text not null
  chosen integer
  made_at timestamp with time zone not null
  until timestamp with time zone not null
  reason text not null
  CHECK ((reason = ANY (ARRAY['no-opening'::text, 'cannot-come'::text])))
  CHECK ((state = ANY (ARRAY['open'::text, 'waiting'::text, 'accepted'::text, 'declined'::text, 'lapsed'::text, 'overtaken'::text])))
  FOREIGN KEY (booking_id) REFERENCES booking(id)
  PRIMARY KEY (id)
table opt_out
  phone_print text not null
  at timestamp with time zone not null
  reason text not null default 'stop'::text
  CHECK ((reason = ANY (ARRAY['stop'::text, 'wrong-person'::text])))
  PRIMARY KEY (phone_print)
table patient
  id text not null
  phone_print text not null
  language text not null
  channel text not null
  detail text not null
  sealed text not null
  words text[]
  clinic_id text not null
  CHECK ((channel = ANY (ARRAY['sms'::text, 'voice'::text, 'email'::text])))
  CHECK ((detail = ANY (ARRAY['full'::text, 'discreet'::text])))
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (id)
table person
  id text not null
  login_print text not null
  subject_print text
  role text not null
  clinic_id text
  password_hash text
  totp_step bigint not null
  code_hash text
  code_until timestamp with time zone
  disabled_at timestamp with time zone
  created_at timestamp with time zone not null
  sealed text not null
  CHECK ((role = ANY (ARRAY['desk'::text, 'clinician'::text, 'educator'::text, 'administrator'::text])))
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (id)
  UNIQUE (code_hash)
  UNIQUE (login_print)
  UNIQUE (subject_print)
table reply
  id text not null
  gateway text not null
  key text not null
  phone_print text not null
  sealed text not null
  received_at timestamp with time zone not null
  booking_id text
  done text
  clinic_id text
  patient_id text
  FOREIGN KEY (booking_id) REFERENCES booking(id)
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  FOREIGN KEY (patient_id) REFERENCES patient(id)
  PRIMARY KEY (id)
  UNIQUE (gateway, key)
table retention_mark
  what text not null
  cleared_to timestamp with time zone not null
  PRIMARY KEY (what)
table retention_run
  id bigint not null generated as identity
  at timestamp with time zone not null
  counts text not null
  PRIMARY KEY (id)
table schema_floor
  needs text not null
table sending_stop
  scope text not null
  at timestamp with time zone not null
  sealed text not null
  PRIMARY KEY (scope)
table sent_part
  gateway text not null
  ref text not null
  sending text
  message_id text
  parts integer
  state text
  code text
  at timestamp with time zone not null
  CHECK ((state = ANY (ARRAY['delivered'::text, 'undelivered'::text])))
  PRIMARY KEY (gateway, ref)
table session
  hash text not null
  person_id text not null
  created_at timestamp with time zone not null
  seen_at timestamp with time zone not null
  FOREIGN KEY (person_id) REFERENCES person(id)
  PRIMARY KEY (hash)
table sign_in_try
  print text not null
  failures integer not null
  locked_until timestamp with time zone
  at timestamp with time zone not null
  PRIMARY KEY (print)
table sign_of_life
  phone_print text not null
  clinic_id text not null
  seen_at timestamp with time zone not null
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (phone_print, clinic_id)
table slot
  id text not null
  clinic_id text not null
  clinician text not null
  starts_at timestamp with time zone not null
  state text not null
  booking_id text
  held_until timestamp with time zone
  minutes integer
  ends_at timestamp with time zone
  overbooked boolean not null default false
  CHECK (((state = 'free'::text) = (booking_id IS NULL)))
  CHECK (((state = 'held'::text) = (held_until IS NOT NULL)))
  CHECK ((((state = 'free'::text) = (ends_at IS NULL)) AND (ends_at > starts_at) AND ((state = 'taken'::text) OR (NOT overbooked))))
  CHECK ((state = ANY (ARRAY['free'::text, 'held'::text, 'taken'::text])))
  FOREIGN KEY (booking_id) REFERENCES booking(id) DEFERRABLE INITIALLY DEFERRED
  FOREIGN KEY (clinic_id) REFERENCES clinic(id)
  PRIMARY KEY (id)
  EXCLUDE USING gist (clinic_id WITH =, clinician WITH =, booking_id WITH <>, tstzrange(starts_at, ends_at) WITH &&) WHERE (((ends_at IS NOT NULL) AND (NOT overbooked)))
table text_approval
  language text not null
  key text not null
  digest text not null
  approved_by text not null
  approved_on text not null
  recorded_at timestamp with time zone not null
  PRIMARY KEY (language, key, digest)
table worker
  id text not null
  seen_at timestamp with time zone not null default now()
  clock_offset_ms integer
  PRIMARY KEY (id)

CREATE UNIQUE INDEX api_key_pkey ON daysix.api_key USING btree (id)
CREATE INDEX audit_actor ON daysix.audit USING btree (actor_id, seq)
CREATE INDEX audit_at ON daysix.audit USING btree (at)
CREATE UNIQUE INDEX audit_pkey ON daysix.audit USING btree (seq)
CREATE UNIQUE INDEX audit_head_pkey ON daysix.audit_head USING btree (one)
CREATE UNIQUE INDEX audit_subject_pkey ON daysix.audit_subject USING btree (subject, seq)
CREATE INDEX audit_subject_seq ON daysix.audit_subject USING btree (seq)
CREATE UNIQUE INDEX backup_run_pkey ON daysix.backup_run USING btree (at)
CREATE INDEX booking_basis ON daysix.booking USING btree (protocol, plan_basis) WHERE (state = 'booked'::text)
CREATE INDEX booking_day ON daysix.booking USING btree (clinic_id, visit_at, id)
CREATE UNIQUE INDEX booking_once ON daysix.booking USING btree (patient_id, visit_at) WHERE (state = 'booked'::text)
CREATE INDEX booking_patient ON daysix.booking USING btree (patient_id, visit_at)
CREATE UNIQUE INDEX booking_pkey ON daysix.booking USING btree (id)
CREATE INDEX booking_visit ON daysix.booking USING btree (visit_at, id)
CREATE UNIQUE INDEX clinic_pkey ON daysix.clinic USING btree (id)
CREATE INDEX consent_patient ON daysix.consent USING btree (patient_id)
CREATE UNIQUE INDEX consent_pkey ON daysix.consent USING btree (id)
CREATE INDEX consent_until ON daysix.consent USING btree (until) WHERE ((until IS NOT NULL) AND (withdrawn_at IS NULL))
CREATE UNIQUE INDEX early_receipt_pkey ON daysix.early_receipt USING btree (gateway, ref)
CREATE UNIQUE INDEX erased_count_pkey ON daysix.erased_count USING btree (month, clinic_id, what)
CREATE UNIQUE INDEX feed_pkey ON daysix.feed USING btree (name)
CREATE INDEX feed_alias_into ON daysix.feed_alias USING btree (into_id)
CREATE UNIQUE INDEX feed_alias_pkey ON daysix.feed_alias USING btree (id)
CREATE UNIQUE INDEX feed_code_pkey ON daysix.feed_code USING btree (feed, part, code)
CREATE UNIQUE INDEX feed_day_pkey ON daysix.feed_day USING btree (feed, day, does)
CREATE UNIQUE INDEX feed_erased_pkey ON daysix.feed_erased USING btree (id)
CREATE INDEX feed_fault_by_time ON daysix.feed_fault USING btree (feed, at, id)
CREATE UNIQUE INDEX feed_fault_pkey ON daysix.feed_fault USING btree (id)
CREATE UNIQUE INDEX feed_patient_pkey ON daysix.feed_patient USING btree (id)
CREATE INDEX feed_resource_by_identifier ON daysix.feed_resource USING gin (identifier_prints)
CREATE INDEX feed_resource_by_visit ON daysix.feed_resource USING btree (visit_id)
CREATE UNIQUE INDEX feed_resource_pkey ON daysix.feed_resource USING btree (id)
CREATE INDEX feed_seen_by_time ON daysix.feed_seen USING btree (at)
CREATE UNIQUE INDEX feed_seen_pkey ON daysix.feed_seen USING btree (id)
CREATE UNIQUE INDEX feed_series_pkey ON daysix.feed_series USING btree (id)
CREATE INDEX feed_telling_by_booking ON daysix.feed_telling USING btree (booking_id)
CREATE INDEX feed_telling_due ON daysix.feed_telling USING btree (due_at) WHERE (ended_at IS NULL)
CREATE UNIQUE INDEX feed_telling_pkey ON daysix.feed_telling USING btree (id)
CREATE INDEX feed_visit_by_booking ON daysix.feed_visit USING btree (booking_id)
CREATE INDEX feed_visit_by_patient ON daysix.feed_visit USING btree (patient_print)
CREATE INDEX feed_visit_by_series ON daysix.feed_visit USING btree (series_print)
CREATE INDEX feed_visit_by_time ON daysix.feed_visit USING btree (feed, visit_at)
CREATE UNIQUE INDEX feed_visit_pkey ON daysix.feed_visit USING btree (id)
CREATE INDEX feed_visit_waiting ON daysix.feed_visit USING btree (feed) WHERE waits
CREATE UNIQUE INDEX figure_sample_pkey ON daysix.figure_sample USING btree (at)
CREATE INDEX follow_up_booking ON daysix.follow_up USING btree (booking_id)
CREATE INDEX follow_up_clinic_closed ON daysix.follow_up USING btree (clinic_id, closed_at DESC) WHERE (closed_at IS NOT NULL)
CREATE INDEX follow_up_clinic_open ON daysix.follow_up USING btree (clinic_id, urgency, opened_at, id) WHERE (closed_at IS NULL)
CREATE INDEX follow_up_closed ON daysix.follow_up USING btree (closed_at DESC) WHERE (closed_at IS NOT NULL)
CREATE INDEX follow_up_open ON daysix.follow_up USING btree (urgency, opened_at, id) WHERE (closed_at IS NULL)
CREATE INDEX follow_up_patient ON daysix.follow_up USING btree (patient_id) WHERE (patient_id IS NOT NULL)
CREATE INDEX follow_up_phone ON daysix.follow_up USING btree (phone_print) WHERE (closed_at IS NULL)
CREATE UNIQUE INDEX follow_up_pkey ON daysix.follow_up USING btree (id)
CREATE INDEX follow_up_reply ON daysix.follow_up USING btree (reply_id) WHERE (reply_id IS NOT NULL)
CREATE INDEX happening_booking ON daysix.happening USING btree (booking_id, id)
CREATE UNIQUE INDEX happening_pkey ON daysix.happening USING btree (id)
CREATE INDEX idempotency_age ON daysix.idempotency USING btree (at)
CREATE UNIQUE INDEX idempotency_pkey ON daysix.idempotency USING btree (key)
CREATE UNIQUE INDEX key_check_pkey ON daysix.key_check USING btree (one)
CREATE INDEX long_reply_heard ON daysix.long_reply USING btree (heard_at) WHERE (heard_at IS NOT NULL)
CREATE UNIQUE INDEX long_reply_open ON daysix.long_reply USING btree (text_print) WHERE (closed_at IS NULL)
CREATE INDEX long_reply_phone ON daysix.long_reply USING btree (phone_print)
CREATE UNIQUE INDEX long_reply_pkey ON daysix.long_reply USING btree (id)
CREATE INDEX long_reply_text ON daysix.long_reply USING btree (text_print)
CREATE INDEX long_reply_waiting ON daysix.long_reply USING btree (came_at) WHERE (heard_at IS NULL)
CREATE INDEX message_asked ON daysix.message USING btree (sent_at) WHERE ((kind = ANY (ARRAY['cycle-check'::text, 'cycle-check-again'::text])) AND (state = ANY (ARRAY['sent'::text, 'delivered'::text, 'undelivered'::text])))
CREATE INDEX message_booking ON daysix.message USING btree (booking_id)
CREATE INDEX message_claimed ON daysix.message USING btree (claimed_at) WHERE (state = 'sending'::text)
CREATE INDEX message_due ON daysix.message USING btree (send_at, id) WHERE (state = 'planned'::text)
CREATE INDEX message_ended ON daysix.message USING btree (ended_at) WHERE (state = ANY (ARRAY['failed'::text, 'undelivered'::text, 'expired'::text]))
CREATE INDEX message_fallback ON daysix.message USING btree (fallback_of) WHERE (fallback_of IS NOT NULL)
CREATE INDEX message_patient ON daysix.message USING btree (patient_id)
CREATE INDEX message_phone ON daysix.message USING btree (phone_print, send_at)
CREATE UNIQUE INDEX message_pkey ON daysix.message USING btree (id)
CREATE INDEX message_prep_mark ON daysix.message USING btree (not_after) WHERE ((state = 'sent'::text) AND (kind = ANY (ARRAY['prep'::text, 'late-prep'::text])))
CREATE INDEX message_prep_sent ON daysix.message USING btree (sent_at) WHERE ((state = 'sent'::text) AND (kind = ANY (ARRAY['prep'::text, 'late-prep'::text])))
CREATE INDEX message_queued ON daysix.message USING btree (send_at) WHERE (state = 'queued'::text)
CREATE INDEX message_ref ON daysix.message USING btree (gateway, gateway_ref) WHERE (gateway_ref IS NOT NULL)
CREATE INDEX message_sent_at ON daysix.message USING btree (sent_at) WHERE (sent_at IS NOT NULL)
CREATE INDEX message_unread ON daysix.message USING btree (sent_at) WHERE ((state = 'sent'::text) AND (channel = 'email'::text))
CREATE INDEX message_worthless ON daysix.message USING btree (not_after) WHERE (state = ANY (ARRAY['planned'::text, 'queued'::text]))
CREATE INDEX near_miss_by_clinic ON daysix.near_miss USING btree (clinic_id, happened_at, id)
CREATE UNIQUE INDEX near_miss_pkey ON daysix.near_miss USING btree (id)
CREATE INDEX offer_booking ON daysix.offer USING btree (booking_id)
CREATE INDEX offer_lapsing ON daysix.offer USING btree (until) WHERE (state = ANY (ARRAY['open'::text, 'waiting'::text]))
CREATE UNIQUE INDEX offer_pending ON daysix.offer USING btree (booking_id) WHERE (state = ANY (ARRAY['open'::text, 'waiting'::text]))
CREATE UNIQUE INDEX offer_pkey ON daysix.offer USING btree (id)
CREATE UNIQUE INDEX opt_out_pkey ON daysix.opt_out USING btree (phone_print)
CREATE INDEX patient_phone ON daysix.patient USING btree (phone_print, clinic_id)
CREATE UNIQUE INDEX patient_pkey ON daysix.patient USING btree (id)
CREATE INDEX patient_wordless ON daysix.patient USING btree (id) WHERE (words IS NULL)
CREATE INDEX patient_words ON daysix.patient USING gin (words) WITH (gin_pending_list_limit='512')
CREATE UNIQUE INDEX person_code_hash_key ON daysix.person USING btree (code_hash)
CREATE UNIQUE INDEX person_login_print_key ON daysix.person USING btree (login_print)
CREATE UNIQUE INDEX person_pkey ON daysix.person USING btree (id)
CREATE UNIQUE INDEX person_subject_print_key ON daysix.person USING btree (subject_print)
CREATE INDEX reply_asked ON daysix.reply USING btree (received_at) WHERE (done = 'asked-which'::text)
CREATE INDEX reply_booking ON daysix.reply USING btree (booking_id) WHERE (booking_id IS NOT NULL)
CREATE UNIQUE INDEX reply_gateway_key_key ON daysix.reply USING btree (gateway, key)
CREATE INDEX reply_patient ON daysix.reply USING btree (patient_id)
CREATE INDEX reply_phone ON daysix.reply USING btree (phone_print, received_at)
CREATE UNIQUE INDEX reply_pkey ON daysix.reply USING btree (id)
CREATE INDEX reply_received ON daysix.reply USING btree (received_at DESC, id DESC)
CREATE INDEX reply_unacted ON daysix.reply USING btree (received_at) WHERE (done IS NULL)
CREATE UNIQUE INDEX retention_mark_pkey ON daysix.retention_mark USING btree (what)
CREATE UNIQUE INDEX retention_run_pkey ON daysix.retention_run USING btree (id)
CREATE UNIQUE INDEX schema_floor_one ON daysix.schema_floor USING btree ((true))
CREATE UNIQUE INDEX sending_stop_pkey ON daysix.sending_stop USING btree (scope)
CREATE INDEX sent_part_at ON daysix.sent_part USING btree (at)
CREATE INDEX sent_part_delivered ON daysix.sent_part USING btree (gateway, sending) WHERE (state = 'delivered'::text)
CREATE INDEX sent_part_message ON daysix.sent_part USING btree (message_id)
CREATE UNIQUE INDEX sent_part_pkey ON daysix.sent_part USING btree (gateway, ref)
CREATE INDEX sent_part_sending ON daysix.sent_part USING btree (sending)
CREATE INDEX session_person ON daysix.session USING btree (person_id)
CREATE UNIQUE INDEX session_pkey ON daysix.session USING btree (hash)
CREATE INDEX session_seen ON daysix.session USING btree (seen_at)
CREATE INDEX sign_in_try_at ON daysix.sign_in_try USING btree (at)
CREATE UNIQUE INDEX sign_in_try_pkey ON daysix.sign_in_try USING btree (print)
CREATE UNIQUE INDEX sign_of_life_pkey ON daysix.sign_of_life USING btree (phone_print, clinic_id)
CREATE INDEX slot_booking ON daysix.slot USING btree (booking_id) WHERE (booking_id IS NOT NULL)
CREATE INDEX slot_busy ON daysix.slot USING btree (clinic_id, clinician, starts_at) WHERE (ends_at IS NOT NULL)
CREATE INDEX slot_held ON daysix.slot USING btree (held_until) WHERE (state = 'held'::text)
CREATE INDEX slot_one_at_a_time ON daysix.slot USING gist (clinic_id, clinician, booking_id, tstzrange(starts_at, ends_at)) WHERE ((ends_at IS NOT NULL) AND (NOT overbooked))
CREATE INDEX slot_open ON daysix.slot USING btree (clinic_id, starts_at) WHERE (state <> 'taken'::text)
CREATE UNIQUE INDEX slot_pkey ON daysix.slot USING btree (id)
CREATE UNIQUE INDEX slot_time ON daysix.slot USING btree (clinic_id, clinician, starts_at) WHERE (NOT overbooked)
CREATE UNIQUE INDEX text_approval_pkey ON daysix.text_approval USING btree (language, key, digest)
CREATE UNIQUE INDEX worker_pkey ON daysix.worker USING btree (id)

CREATE TRIGGER audit_never_emptied BEFORE TRUNCATE ON daysix.audit FOR EACH STATEMENT EXECUTE FUNCTION audit_only_grows()
CREATE TRIGGER audit_only_grows BEFORE DELETE OR UPDATE ON daysix.audit FOR EACH ROW EXECUTE FUNCTION audit_only_grows()
