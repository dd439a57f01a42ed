import type { Approval } from '../../domain/messages/texts/approval.ts'

/** One text that somebody approved, with a digest of its very words. */
export interface TextApproval extends Approval {
  language: string
  key: string
  digest: string
}

export interface ApprovalRecords {
  all(): Promise<TextApproval[]>
  /** The same words approved again: the newest word counts. */
  put(approvals: readonly TextApproval[], at: Date): Promise<void>
}
