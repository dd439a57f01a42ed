import type { CalendarDate } from '../../preparation/cycle/history.ts'
import { MESSAGE_KINDS } from './message-kinds.ts'

export type TextKind = keyof typeof MESSAGE_KINDS

/** Every kind of message Daysix can send. */
export const TEXT_KINDS = Object.keys(MESSAGE_KINDS) as TextKind[]

/** The kinds that stand in the plan of a visit. */
export type PlannedKind = {
  [kind in TextKind]: (typeof MESSAGE_KINDS)[kind]['planned'] extends null ? never : kind
}[TextKind]

export const CHANNELS = ['sms', 'voice', 'email'] as const
export type Channel = (typeof CHANNELS)[number]

/** The kinds that may go by e-mail. */
export const MAILED_KINDS = TEXT_KINDS.filter((kind) => MESSAGE_KINDS[kind].byMail)

/** `full` names the preparation; `discreet` names neither test nor reason and points to the private page. */
export type Detail = 'full' | 'discreet'

/** What a text may speak of. Instants are absolute; `zone` says in which clock the patient reads them. */
/** What was understood of a reply; `undone`: that it was taken back. */
export const HEARD = ['started', 'ended', 'bleeding', 'not-started', 'undone'] as const
export interface Noted {
  heard: (typeof HEARD)[number]
  on: CalendarDate
  /** False: other times are offered with the next text. */
  stays: boolean
}

export interface TextValues {
  clinic: string
  clinicPhone: string
  /** What to dial in an emergency there, digits only; missing or null = the clinic has set none. */
  emergency?: string | null
  zone: string
  /** The visit this text is about. */
  visit?: Date
  /** `visit` less the protocol's longest preparation time: the moment the avoiding begins. */
  mark?: Date
  /**
   * Openings on offer (kind `offer`) or visits to choose from (kind `which-visit`), one to three, in the order of their
   * numbers.
   */
  choices?: Date[]
  /** The approved sentence that answers a preparation question (kind `answer`). */
  answer?: string
  /** What was noted of a period by a reply, and of which day (kind `no-change`). */
  noted?: Noted
  /** Address of the patient's private page. */
  page?: string
  /** Ids of the protocol's rules to name (kinds `prep` and `late-prep`), e.g. `sex`; missing = `COMMON_RULES`. */
  avoid?: readonly string[]
  /** false: cycles play no part (no periods, or a specimen that any day will do), so no text asks about one. */
  periods?: boolean
}

/**
 * The four things avoided for the 48 hours before collection (common practice, no source), in the order they are named.
 */
export const COMMON_RULES = ['sex', 'lubricant', 'douche', 'vaginal-medicine'] as const
