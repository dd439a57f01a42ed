import type { Question } from '../../replies/reading.ts'
import type { Placeholder } from './placeholders.ts'

/** What is stated of every kind of message. A kind that leaves anything out does not compile. */
export interface MessageKind {
  /** On the desk's pages. */
  label: string
  /**
   * What it concerns, and so how long it holds; see `stillHolds`. `visit`: while the visit is booked for that time;
   * `cancelled`: while it is cancelled; `question`: as for a visit, once the question that it puts again was sent;
   * `offer`: while those times are on offer; `move`: while the time chosen waits for the desk; `words`: always, since a
   * person stands behind them; `number`: always, but only at the number that it answers.
   */
  about: 'visit' | 'cancelled' | 'question' | 'offer' | 'move' | 'words' | 'number'
  /** The question that a yes, a no or a day alone answers afterwards. */
  asks: Question | null
  /**
   * What is answered to it. `numbers`: one of the choices that it must list, in a call by keys 1 to 3; otherwise which
   * keys a call offers: whether a period has begun, whether the patient comes to the visit, or nothing.
   */
  answers: 'numbers' | 'period' | 'visit' | 'nothing'
  /** It tells how to prepare: for the full time, or for what is left of it. */
  prepares: 'in-time' | 'late' | null
  /**
   * Where it stands in the plan of a visit: when it may be said again, and what follows where the caps leave no room
   * for it. Null: it is in no plan.
   */
  planned: { again: 'new-time' | 'never'; noRoom: 'call' | 'nothing' } | null
  /**
   * To a number that wants no messages. `said`: it answers what was written since; `last`: it confirms that wish, and
   * nothing follows it.
   */
  afterStop: 'not-said' | 'said' | 'last'
  /** Where it did not arrive: a person must make up for it, or it was a courtesy. */
  lost: 'call' | 'nothing'
  /** As an answer to a number that has had as many as it gets: a person answers, unless all has been done anyway. */
  unanswered: 'call' | 'nothing'
  /** It confirms STOP or START: not said where the number has written the other one since. */
  keepsWish: boolean
  /** As an answer in a call: texted besides, for it is worth having in writing. */
  inWriting: boolean
  /**
   * Values without which it would be useless. First contact, help and alarm say how to reach the clinic, as reminder
   * rules of several countries ask.
   */
  mustSay: { full: readonly Placeholder[]; discreet: readonly Placeholder[] }
  /** It may go by e-mail, to whoever asked for that: nothing that waits for an answer by text, nothing urgent. */
  byMail: boolean
  /** Its texts say how to stop. */
  saysStop: boolean
}
