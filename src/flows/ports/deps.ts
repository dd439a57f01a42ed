import type { HeadNotes } from './head-notes.ts'
import type { JobQueue } from './jobs.ts'
import type { FullProtocol } from '../../domain/preparation/protocol.ts'
import type { Reading, ReplyContext } from '../../domain/replies/reading.ts'
import type { Channel, Detail, TextKind, TextValues } from '../../domain/messages/texts/kinds.ts'
import type { CallWriter } from '../../domain/messages/voice/write-script.ts'
import type { ApprovedTexts } from './approved-texts.ts'
import type { AccessStore } from './access.ts'
import type { Gateway } from './gateway.ts'
import type { Records } from './records.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import type { RetentionRules } from './retention-rules.ts'
import type { Home } from './standing.ts'
import type { Traces } from './traces.ts'

export type * from './approvals.ts'
export type * from './dispatch.ts'
export type * from './follow-ups.ts'
export type * from './idempotency.ts'
export type * from './patients.ts'
export type * from './pipelined.ts'
export type * from './records.ts'
export type * from './replies.ts'
export type * from './schedule.ts'
export type * from './standing.ts'

/** What time it is. The demo, simulations and most tests run on a virtual one. */
export interface Clock {
  now(): Date
}

/** Makes ids that sort by time. */
export type NewId = (prefix: string) => string

declare const inTransaction: unique symbol
/** Records of a running transaction: what locks or changes rows is done through these. */
export type Tx = Records & { readonly [inTransaction]: true }

export interface Store {
  /** Commits when `work` resolves, rolls back when it throws. Inside, use only `tx`. */
  transact<T>(work: (tx: Tx) => Promise<T>): Promise<T>
  readonly read: Records
}

export interface RenderRequest {
  kind: TextKind
  language: string
  channel: Channel
  detail: Detail
  values: TextValues
}

/** This process as one that sends. */
export interface WorkerIdentity {
  id: string
  /** Attempts it has claimed, or is about to: see `attemptKey`. */
  inFlight: Set<string>
  /** Messages that wait here for a turn at their gateway: see `waitKey`. */
  waiting: Set<string>
  /**
   * False when it has been silent so long that others may believe it gone: then it must not send what it claimed
   * before.
   */
  steady(): boolean
}

/** Everything a flow may need from outside. */
export interface Deps {
  store: Store
  /** People, keys, and the record of who saw and changed what. */
  access: AccessStore
  headNotes: HeadNotes
  traces: Traces
  clock: Clock
  newId: NewId
  queue: JobQueue
  worker: WorkerIdentity
  home: Home
  gateways: ReadonlyMap<string, Gateway>
  /** Schedules that are kept elsewhere, as the site describes them. */
  feeds: ReadonlyMap<string, Feed>
  protocols: ReadonlyMap<string, FullProtocol>
  /** Which texts somebody has approved, and so which languages may be sent. */
  approvedTexts: ApprovedTexts
  /**
   * Keyed, so that nobody without the key can find out by guessing what it was made of: every digest of personal data
   * is.
   */
  digest(text: string): string
  /** Seals what goes out to a browser and must come back unread and unaltered; opens it at the same place only. */
  seals: { seal(plain: string, bond: string): string; open(sealed: string, bond: string): string }
  /** Address of the private page of a booking, as it is sent to this number. */
  pageOf(bookingId: string, phone: string): string
  render(request: RenderRequest): { text: string; subject?: string; state: 'approved' | 'draft' }
  /** Writes what calls say; absent where nothing calls. */
  calls?: CallWriter
  readReply(text: string, context: ReplyContext): Reading
  policy: {
    /** Draft texts may go out (demo), or not (production). */
    allowDrafts: boolean
    /** Real patients: what would harm them is refused, where a trial is only warned. */
    production: boolean
    /** Messages due within this many hours are put in the queue. */
    horizonHours: number
    /** Automatic answers to one number in 24 hours; beyond that only a person answers. */
    answersADay: number
    retention: RetentionRules
  }
  /** Told after each change, for live pages and the demo's transcript. Ids only. */
  notice(what: string, ids: Record<string, string>): void
}
