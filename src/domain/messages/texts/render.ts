import { badInput } from '../../failure.ts'
import { writeDay, writeWhen } from './dates.ts'
import { readingCounts, readingGrade } from './grade.ts'
import { COMMON_RULES, type Channel, type Detail, type TextKind, type TextValues } from './kinds.ts'
import { textKey, type Language, type Text, type TextLibrary, type TextPart } from './library.ts'
import { fill } from './message.ts'
import type { Placeholder } from './placeholders.ts'
import { foldTypography, measureSms, type Encoding } from './sms.ts'

export type VoicePart = 'greeting' | 'full' | 'voicemail'

export interface TextRequest {
  kind: TextKind
  /** Language code; a region is ignored where the library has none for it (`fr-CA` → `fr`). */
  language: string
  channel: Channel
  detail: Detail
  values: TextValues
  /** Voice only; missing = `full`. */
  voicePart?: VoicePart
  /** The site folds typographic signs (in a clinic's name, say) to GSM-7. */
  fold?: boolean
}

export interface RenderedText {
  text: string
  encoding: Encoding
  /** SMS segments; 0 for voice and e-mail, which are not charged by segment. */
  segments: number
  /** School grade; null where no reading formula is established for the language. */
  grade: number | null
  state: 'approved' | 'draft'
  language: string
  /** Of an e-mail. */
  subject?: string
}

/**
 * The exact words of one message.
 *
 * @throws Failure `bad-input` for an unknown language or a value that the text needs and was not given.
 */
export function renderText(library: TextLibrary, request: TextRequest): RenderedText {
  const language = languageOf(library, request.language)
  return request.channel === 'email' ? renderMail(language, request) : renderPart(language, request, partOf(request))
}

function renderPart(language: Language, { kind, channel, values, fold }: TextRequest, part: TextPart): RenderedText {
  const text = language.texts.get(textKey(kind, channel, part))
  if (!text) return badInput('kind', `There is no text of this kind in language ${language.code} for this channel.`)
  return renderOne(text, language, values, fold)
}

/** As long as one of its parts is a draft, all of it is. */
function renderMail(language: Language, request: TextRequest): RenderedText {
  const [body, subject, foot] = [request.detail, 'subject' as const, 'foot' as const].map((part) =>
    renderPart(language, request, part),
  ) as [RenderedText, RenderedText, RenderedText]
  const state = [body, subject, foot].every((part) => part.state === 'approved') ? 'approved' : 'draft'
  return { ...body, text: `${body.text}\n\n${foot.text}`, subject: subject.text, state }
}

/** The same for a text already at hand. */
export function renderOne(text: Text, language: Language, values: TextValues, fold = false): RenderedText {
  const written = write(text, language, values)
  const words = fold ? foldTypography(written) : written
  // What it costs and how easy it reads is for those who write texts: worked out when asked, not for each message sent.
  return {
    text: words,
    get encoding() {
      return measureSms(words).encoding
    },
    get segments() {
      return text.channel === 'sms' ? measureSms(words).segments : 0
    },
    get grade() {
      return readingGrade(readingCounts(words, language.reading, notOurWords(values)), language.reading)
    },
    state: text.approval ? 'approved' : 'draft',
    language: language.code,
  }
}

/** The language with this code, or the language without its region. Throws `bad-input` when there is none. */
export function languageOf(library: TextLibrary, code: string): Language {
  const found = library.languages.get(code) ?? library.languages.get(code.split('-')[0]!)
  if (found) return found
  return badInput(
    'language',
    `There are no texts in this language. Use one of: ${[...library.languages.keys()].join(', ')}.`,
  )
}

/** A voicemail may be heard by anybody, so it is the same whatever the detail; so is the greeting. */
function partOf({ channel, detail, voicePart = 'full' }: TextRequest): TextPart {
  if (channel === 'sms') return detail
  return voicePart === 'full' ? detail : voicePart
}

function write(text: Text, language: Language, values: TextValues): string {
  const known = wordsOf(values, language, text.channel)
  for (const name of text.asks) {
    if (known[name as Placeholder] === undefined)
      badInput(sourceOf(name), `A text of kind ${text.kind} needs this value.`)
  }
  return String(text.message.format(known)).replace(/ {2,}/g, ' ').trim()
}

function sourceOf(placeholder: string): string {
  return { phone: 'clinicPhone', count: 'choices' }[placeholder] ?? placeholder
}

/** The values a text may ask for, in words; `PLACEHOLDERS` lists the same names. */
function wordsOf(
  values: TextValues,
  language: Language,
  channel: Channel,
): Record<Placeholder, string | number | undefined> {
  const when = (instant: Date): string => writeWhen(instant, values.zone, language, channel)
  const avoid = asThereIsRoom(values.avoid ?? COMMON_RULES, channel)
  return {
    clinic: values.clinic,
    phone: channel === 'voice' ? spokenDigits(values.clinicPhone) : values.clinicPhone,
    visit: values.visit && when(values.visit),
    mark: values.mark && when(values.mark),
    choices: values.choices && listChoices(values.choices.map(when), language, channel),
    count: values.choices?.length,
    avoid: nameRules(avoid, language, channel),
    rules: avoid.length === 0 ? 'none' : isCommon(avoid) ? 'common' : 'other',
    periods: values.periods === false ? 'no' : 'yes',
    answer: values.answer,
    heard: values.noted?.heard ?? 'told',
    day: values.noted ? writeDay(values.noted.on, language, channel) : '',
    stays: values.noted?.stays === false ? 'no' : 'yes',
    page: values.page,
    emergency: emergencyWord(values.emergency, channel),
  }
}

/** For `select`: the number to dial in an emergency, or `none`. Speech reads it digit by digit. */
export function emergencyWord(number: string | null | undefined, channel: Channel): string {
  if (!number) return 'none'
  return channel === 'voice' ? spokenDigits(number) : number
}

/**
 * One text has room for the usual four: what a protocol asks besides stands on the page, is said in calls, and answers
 * questions.
 */
function asThereIsRoom(avoid: readonly string[], channel: Channel): readonly string[] {
  return channel === 'sms' && COMMON_RULES.every((rule) => avoid.includes(rule)) ? COMMON_RULES : avoid
}

/** The four usual rules, whatever their order: languages may say these in one well-made phrase. */
function isCommon(avoid: readonly string[]): boolean {
  return avoid.length === COMMON_RULES.length && COMMON_RULES.every((rule) => avoid.includes(rule))
}

/** `+1 613 555 0142` → `+1, 6 1 3, 5 5 5, 0 1 4 2`: speech reads digits in groups instead of millions. */
function spokenDigits(phone: string): string {
  const groups = phone
    .trim()
    .split(/[\s().-]+/)
    .filter(Boolean)
  return groups.map((group) => (group.startsWith('+') ? group : [...group].join(' '))).join(', ')
}

function listChoices(choices: string[], language: Language, channel: Channel): string {
  if (choices.length < 1 || choices.length > 3) badInput('choices', 'Give one, two or three choices.')
  const spoken = channel === 'voice'
  const lines = choices.map((when, index) =>
    fill(language.choice[spoken ? 'voice' : 'sms'], language.locale, { number: index + 1, when }),
  )
  return lines.join(spoken ? ' ' : '\n')
}

/** e.g. `sex, lube or douching`. */
export function nameRules(rules: readonly string[], language: Language, channel: Channel): string {
  const names = rules.map((rule) => {
    const words =
      language.rules[rule] ?? badInput('avoid', `Language ${language.code} has no words for one of these rules.`)
    return channel === 'sms' ? words.short : words.long
  })
  return names.length < 2 ? names.join('') : `${names.slice(0, -1).join(', ')}${language.or}${names.at(-1)}`
}

/** Names, numbers and addresses are not ours to make easier: they are left out of the reading grade. */
export function notOurWords(values: TextValues): string[] {
  return [
    values.page,
    values.clinic,
    values.clinicPhone,
    values.clinicPhone && spokenDigits(values.clinicPhone),
  ].filter((words): words is string => Boolean(words))
}
