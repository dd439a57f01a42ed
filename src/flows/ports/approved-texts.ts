import type { Approvals, Reviewables } from '../../domain/messages/texts/approval.ts'

/** What this process knows of the site's approvals. Another process hears of a new one when it refreshes. */
export interface ApprovedTexts {
  readonly approvals: Approvals
  /** Reads what has been approved, here or elsewhere. */
  refresh(): Promise<void>
  /** What a reviewer says yes to, by language. */
  readonly reviewables: ReadonlyMap<string, Reviewables>
  /** Keys still to be approved before this language may be sent. */
  lacking(language: string): string[]
  /** Languages that may be sent. None: nothing goes out. */
  sendable(): readonly string[]
}
