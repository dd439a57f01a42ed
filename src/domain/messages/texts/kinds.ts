/** Every kind of message Daysix can send. */
export const TEXT_KINDS = [
  'confirmation',
  'lmp-question',
  'cycle-check',
  'prep',
  'late-prep',
  'day-before',
  'offer',
  'which-visit',
  'moved',
  'move-asked',
  'no-change',
  'cannot-offer',
  'unclear',
  'lapse',
  'alarm',
  'answer',
  'help',
  'stopped',
  'rejoined',
  'wrong-person',
] as const
export type TextKind = (typeof TEXT_KINDS)[number]

export type Channel = 'sms' | 'voice'

/** `full` names the preparation; `discreet` names neither test nor reason and points to the private page. */
export type Detail = 'full' | 'discreet'

/** What a text may speak of. Instants are absolute; `zone` says in which clock the patient reads them. */
export interface TextValues {
  clinic: string
  clinicPhone: string
  zone: string
  /** The visit this text is about. */
  visit?: Date
  /** `visit` less the protocol's longest preparation time: the moment the avoiding begins. */
  mark?: Date
  /** Openings on offer (kind `offer`) or visits to choose from (kind `which-visit`), one to three, in the order of their numbers. */
  choices?: Date[]
  /** The approved sentence that answers a preparation question (kind `answer`). */
  answer?: string
  /** Address of the patient's private page. */
  page?: string
  /** Ids of the protocol's rules to name (kinds `prep` and `late-prep`), e.g. `sex`; missing = `COMMON_RULES`. */
  avoid?: readonly string[]
  /** false: cycles play no part (no periods, or a specimen that any day will do), so no text asks about one. */
  periods?: boolean
}

/** The four things avoided for the 48 hours before collection (common practice, no source), in the order they are named. */
export const COMMON_RULES = ['sex', 'lubricant', 'douche', 'vaginal-medicine'] as const
