import type { FollowUp, FollowUpReason } from '../../domain/calls/follow-up.ts'
import type { Pipelined } from './pipelined.ts'

export interface FollowUpQuery {
  clinicId?: string
  /** With `clinicId`: also those that belong to no clinic. */
  unplacedToo?: boolean
  open?: boolean
  bookingId?: string
  bookingIds?: string[]
  patientIds?: string[]
  /** The number that they are about. */
  phone?: string
  /** Those that were opened on this reply. */
  replyId?: string
  reasons?: FollowUpReason[]
  butReasons?: FollowUpReason[]
  limit: number
}

/** Open ones of one reason, of a clinic or of none. */
export interface AlikeQuery {
  clinicId: string
  reason: FollowUpReason
  ids?: readonly string[]
  /** Keyset page: those after this one, in order of their visit and id. */
  after?: { at: Date; id: string }
  limit: number
}

export interface FollowUpRecords {
  get(id: string): Promise<FollowUp | undefined>
  list(query: FollowUpQuery): Promise<FollowUp[]>
  /** The soonest visit first; what is about no visit stands where it was opened. */
  alike(query: AlikeQuery): Promise<FollowUp[]>
  insert(followUp: FollowUp): Pipelined
  /** Newest first, with those of no clinic. */
  recentlyClosed(clinicId: string, since: Date, limit: number): Promise<FollowUp[]>
  /** How many are open, with those of no clinic, by reason. */
  countOpen(clinicId: string): Promise<Map<FollowUpReason, number>>
  /** On how many cards those of other reasons stand, one for each patient (`cardOf`); with those of no clinic. */
  countCards(clinicId: string, butReasons: readonly FollowUpReason[]): Promise<number>
  /** Writes its detail anew; closing has its own conditional move. */
  update(followUp: FollowUp): Promise<void>
  /** False when it is open, or was closed before that. */
  reopen(id: string, closedSince: Date): Promise<boolean>
  /** False when it was closed already. */
  close(id: string, by: string, outcome: string, at: Date): Promise<boolean>
  /** Closes open ones of these reasons whose visit began within this interval. @returns how many */
  closePast(
    reasons: readonly FollowUpReason[],
    began: { from: Date; to: Date },
    outcome: string,
    at: Date,
  ): Promise<number>
}
