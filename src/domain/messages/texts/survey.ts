import { DateTime } from 'luxon'
import { writeWhen } from './dates.ts'
import { readingCounts, readingEase } from './grade.ts'
import type { Channel, TextKind, TextValues } from './kinds.ts'
import { SMS_PARTS, type Language, type Text, type TextLibrary, type TextPart } from './library.ts'
import { notOurWords, renderOne } from './render.ts'
import { measureSms, outsideGsm7, type Encoding } from './sms.ts'

/** What a site fills in: its longest values decide what a text costs. */
export interface SurveySite {
  clinic: string
  clinicPhone: string
  /** What to dial in an emergency; null: the words that stand for it. */
  emergency: string | null
  page: string
  /** Approved answers by language; the longest counts. */
  answers: Record<string, string[]>
}

/** One text at its longest. */
export interface SurveyRow {
  language: string
  kind: TextKind
  channel: Channel
  part: TextPart
  text: string
  encoding: Encoding
  units: number
  /** 0 for voice and e-mail. */
  segments: number
  grade: number | null
  /** Ease on the scale of the language's formula. */
  ease: number | null
  readonly state: 'approved' | 'draft'
  readonly approvedBy: string | null
  readonly approvedOn: string | null
  /** What breaks the budget of the language, in words; null when nothing does. */
  overBudget: string | null
}

/** Every text of every language (or one), with the longest values it can meet. */
export function surveyTexts(library: TextLibrary, site: SurveySite, only?: string): SurveyRow[] {
  const languages = [...library.languages.values()].filter(({ code }) => only === undefined || code === only)
  return languages.flatMap((language) => {
    const values = longestValues(language, site)
    return [...language.texts.values()].map((text) => surveyOne(text, language, values))
  })
}

function surveyOne(text: Text, language: Language, values: TextValues): SurveyRow {
  const rendered = renderOne(text, language, values)
  const { encoding, units } = measureSms(rendered.text)
  const { kind, channel, part } = text
  const counts = readingCounts(rendered.text, language.reading, notOurWords(values))
  const ease = readingEase(counts, language.reading)
  return {
    language: language.code,
    kind,
    channel,
    part,
    text: rendered.text,
    encoding,
    units,
    segments: rendered.segments,
    grade: rendered.grade,
    ease: ease === null ? null : Math.round(ease * 10) / 10,
    // The rest takes long to work out and stays; who has approved it changes.
    get state() {
      return text.approval ? 'approved' : 'draft'
    },
    get approvedBy() {
      return text.approval?.by ?? null
    },
    get approvedOn() {
      return text.approval?.on ?? null
    },
    overBudget: isSms(part, channel) ? overBudget(rendered.text, language) : null,
  }
}

function isSms(part: TextPart, channel: Channel): boolean {
  return channel === 'sms' && (SMS_PARTS as readonly string[]).includes(part)
}

function overBudget(text: string, { budget }: Language): string | null {
  const { encoding, units, segments } = measureSms(text)
  if (budget.encoding === 'GSM-7' && encoding !== 'GSM-7') return `not in GSM-7: ${outsideGsm7(text).join(' ')}`
  return segments > budget.segments ? `${segments} segments (${units} units) instead of ${budget.segments}` : null
}

/** The values that make a text of this language longest. */
export function longestValues(language: Language, site: SurveySite): TextValues {
  const [first, second, third] = longestInstants(language)
  const answers = [...(site.answers[language.code] ?? [])].sort((a, b) => measureSms(b).units - measureSms(a).units)
  return {
    clinic: site.clinic,
    clinicPhone: site.clinicPhone,
    emergency: site.emergency,
    page: site.page,
    zone: ZONE,
    answer: answers[0] ?? '',
    noted: { heard: 'not-started', on: DateTime.fromJSDate(first!, { zone: ZONE }).toISODate()!, stays: true },
    visit: first!,
    mark: second!,
    choices: [first!, second!, third!],
  }
}

const ZONE = 'America/Halifax'
const A_YEAR_OF_DAYS = 366
const QUARTER = 15

/** Three instants whose short forms are the longest: first the time of day, then the days of a leap year. */
function longestInstants(language: Language): Date[] {
  const width = (at: DateTime): number => measureSms(writeWhen(at.toJSDate(), ZONE, language, 'sms')).units
  const start = DateTime.fromObject({ year: 2028 }, { zone: ZONE })
  const times = Array.from({ length: (24 * 60) / QUARTER }, (_, index) => start.plus({ minutes: index * QUARTER }))
  const longest = times.reduce((best, time) => (width(time) > width(best) ? time : best))
  const days = Array.from({ length: A_YEAR_OF_DAYS }, (_, index) => longest.plus({ days: index }))
  const widest = days.map((day) => ({ day, units: width(day) })).sort((a, b) => b.units - a.units)
  return widest.slice(0, 3).map(({ day }) => day.toJSDate())
}
