import type { Ack } from './feed.ts'
import type { Kept } from './known.ts'
import type { OurVisit } from './our-visit.ts'
import type { OurTimes } from './schedule-news.ts'

/** What follows from a piece of news, for the flow to carry out. */
export type Outcome =
  | { does: 'book' | 'amend' | 'move'; visit: OurVisit; why: string }
  | { does: 'cancel' | 'no-show'; visit: OurVisit | null; why: string }
  | { does: 'merge'; why: string }
  | { does: 'times'; opens: boolean; times: readonly OurTimes[]; why: string }
  | { does: 'nothing'; visit: OurVisit | null; why: string; ack?: Ack }
  /** A person must look. `AE`: so must whoever sent it, since a code or value cannot be used. */
  | { does: 'hold'; visit: OurVisit | null; why: string; ack: Ack }

export interface Reconciled {
  outcome: Outcome
  /** To be kept in the transaction that carries the outcome out. */
  kept: Kept
}
