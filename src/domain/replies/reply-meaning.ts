import type { FollowUpReason } from '../calls/follow-up.ts'

/**
 * A remark that takes a meaning away: "if", "should have", "my daughter"; or that there are no periods, or no longer.
 */
export type Remark = 'unreal' | 'what-if' | 'someone-else' | 'no-cycle' | 'may-have-none' | 'past-cycles'

/** What is stated of every meaning. A meaning that leaves anything out does not compile. */
export interface ReplyMeaning {
  /** On the desk's pages. */
  label: string
  /** `number`: it needs no visit to be understood, and comes before everything else. */
  about: 'number' | 'visit'
  /** Its place, of its own, among the meanings of one text: the lowest gets the automatic answer. */
  precedence: number
  /** Whether it says anything beside another meaning. A bare yes may be part of the other's words. */
  weight: 'news' | 'yes' | 'courtesy'
  /** It speaks of bleeding that was, or of one that has not come. */
  bleeding: 'told' | 'awaited' | null
  /** It must not be missed: no longer pattern around it hides it, nor a text that is mostly no text. */
  neverHidden: boolean
  /** A day may stand beside its words: "it started yesterday", "yes, tomorrow". */
  withDay: boolean
  /** What takes it away, in the same clause or, of periods as such, anywhere. */
  yieldsTo: readonly Remark[]
  /** A topic of the preparation in its words is no question about it. */
  holdsTopic: boolean
  /** A family says it beside a death. */
  besideDeath: boolean
  /** What a person who reads it may add: its day, or the number chosen. */
  carries: 'startedOn' | 'endedOn' | 'choice' | null
  /** Beside a STOP, where nothing is answered: which call it becomes. Null: it is none, or has a call anyway. */
  besideStop: FollowUpReason | null
  /** Which call it becomes where it waits for an answer and the number has had as many as it gets. */
  unanswered: FollowUpReason
  /** Only the last one of its kind that the number wrote counts. */
  lastCounts: boolean
  /** Acted on however many texts came from the number that day. */
  inAFlood: boolean
  /** Whether the desk may take back a plain one, or the patient alone. */
  takenBackBy: 'desk' | 'patient'
  /** Errors of reading that could harm: that it was missed, that it was not told at all. */
  harmful: readonly ('missed' | 'invented')[]
}
