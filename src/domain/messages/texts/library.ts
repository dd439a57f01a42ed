import type { IntlMessageFormat } from 'intl-messageformat'
import type { Approval } from './approval.ts'
import type { Channel, TextKind } from './kinds.ts'

/**
 * Where in a conversation a text stands.
 * sms: `full`, `discreet`. voice: `greeting` (before anybody is known to listen), `full`, `discreet`, `voicemail`.
 * email: `full`, `discreet`, `subject` (others may see it in a list), `foot` (beneath both).
 */
export const SMS_PARTS = ['full', 'discreet'] as const
export const VOICE_PARTS = ['greeting', 'full', 'discreet', 'voicemail'] as const
export const MAIL_PARTS = ['subject', 'full', 'discreet', 'foot'] as const
export type TextPart = (typeof SMS_PARTS | typeof VOICE_PARTS | typeof MAIL_PARTS)[number]

/** One text as written in `templates/<language>`. */
export interface Text {
  kind: TextKind
  channel: Channel
  part: TextPart
  /** ICU MessageFormat, as written. */
  words: string
  message: IntlMessageFormat
  /** Names of the values it asks for. */
  asks: ReadonlySet<string>
  /** Changes with every change of `words`. */
  digest: string
  /** Undefined: a draft, as long as nobody has approved these words. */
  readonly approval: Approval | undefined
}

/** How a language writes and speaks dates. Data, not `Intl`, so that the words sent are the words reviewed. */
export interface DateWords {
  /** Monday first. */
  weekdays: { short: string[]; long: string[] }
  months: { short: string[]; long: string[] }
  /** Parts of the day, by the hour from which they are said; empty = 24-hour clock. */
  periods: { from: number; short: string; long: string }[]
  /**
   * ICU patterns over weekday, month, day, hour (0-23), hour12 (1-12), minute, period, and named (noon, midnight or no:
   * for `select`). `sms` is short, `voice` for speech.
   */
  sms: string
  voice: string
  /** A day without its time, over the same weekday, month and day. */
  day: string
}

export const READING_FORMULAS = ['flesch-kincaid', 'fernandez-huerta', 'kandel-moles', 'none'] as const
export type ReadingFormula = (typeof READING_FORMULAS)[number]

/** One language: how it is written, and its texts. */
export interface Language {
  code: string
  /** Its own name for itself. */
  name: string
  /** BCP 47, for plurals and the page. */
  locale: string
  direction: 'ltr' | 'rtl'
  reading: ReadingFormula
  /** Budget of each SMS. */
  budget: { encoding: 'GSM-7' | 'UCS-2'; segments: number }
  dates: DateWords
  /** Words of the rules a text may name, by rule id, e.g. `sex`; short for SMS, long for speech and the page. */
  rules: Record<string, { short: string; long: string }>
  /** Last joint of a list, e.g. ` or `. */
  or: string
  /** One opening in a list of choices, by channel: ICU over `number` and `when`. */
  choice: Record<'sms' | 'voice', string>
  /** Words patients are asked to reply with. */
  keywords: { stop: string; start: string; help: string; started: string; notYet: string; undo: string }
  /** Beginnings of words that tell what the visit is for: never in a discreet text. */
  telling: string[]
  /** Beginnings of words no text may use, because they speak of results or diagnoses. */
  never: string[]
  texts: Map<string, Text>
}

export interface TextLibrary {
  languages: Map<string, Language>
}

/** The key of a text within its language, e.g. `prep.sms.full`. */
export function textKey(kind: TextKind, channel: Channel, part: TextPart): string {
  return `${kind}.${channel}.${part}`
}
