import { strict as english } from 'chrono-node'
import { strict as spanish } from 'chrono-node/es'
import { strict as french } from 'chrono-node/fr'
import { strict as ukrainian } from 'chrono-node/uk'
import type { ClassRuns, Run } from './matching.ts'
import { dayNumber, pastDate, type DayNumber, type Receipt } from './receipt.ts'
import type { Token } from './tokens.ts'
import type { DayKind, Language } from './vocabulary.ts'

/** What some words say about a day: always the most recent past reading, unless it lies ahead of the receipt. */
export interface DayReading {
  /** `past`: today or before. `ahead`: after the receipt. `vague`: past, but no one day ("last week"). */
  tense: 'past' | 'ahead' | 'vague'
  day?: DayNumber
  /** Of a date ahead, which no period began on: that date. An opening may be chosen by it. */
  date?: DayNumber
  /** 0..1: how surely the words mean this very day. */
  certainty: number
}

/** A day spoken of in the text. */
export interface DayRun extends Run, DayReading {
  kind: DayKind | 'numeric' | 'calendar'
}

/** The same words, as a day that is not known. */
export function openDay({ from, to }: Run): DayRun {
  return { from, to, tense: 'vague', certainty: 0.3, kind: 'vague' }
}

/** A period that began longer ago than this is not told by day and month alone: it would be a date of last year. */
export const OLDEST_DAYS = 150
/**
 * Of two readings of a numeric date, one beyond this and one within, the one within is meant: 95 % of cycles last 15-45
 * days (Chiazze 1968, JAMA 203:377).
 */
const USUAL_DAYS = 45
/**
 * Part of the certainty that is left when a date like 3/4 may be March or April and the custom of the place decides.
 */
const EITHER_ORDER = 0.55

const NUMERIC = /^(\d{1,4})[/.-](\d{1,2})(?:[/.-](\d{1,4}))?$/
type CalendarParser = Pick<typeof english, 'parse'>
const CALENDARS: Record<string, CalendarParser> = { en: english, fr: french, es: spanish, uk: ukrainian }

/**
 * 14/3, 3-14, 2026-03-14: whichever order gives a day in the recent past; when both do, the custom of the place
 * decides.
 */
export function numericDays(tokens: Token[], language: Language, receipt: () => Receipt): DayRun[] {
  return tokens.flatMap((token, at): DayRun[] => {
    const parts = NUMERIC.exec(token.word)
    const reading =
      parts &&
      readNumbers(
        parts.slice(1).map((part) => (part === undefined ? undefined : Number(part))),
        language,
        receipt(),
      )
    return reading ? [{ ...reading, from: at, to: at + 1, kind: 'numeric' }] : []
  })
}

function readNumbers(parts: (number | undefined)[], language: Language, receipt: Receipt): DayReading | undefined {
  const [a, b, c] = parts as [number, number, number | undefined]
  if (a > 31) return recent(receipt, b, c ?? 0, a) ?? { tense: 'ahead', certainty: 0.6 }
  const dayFirst = [recent(receipt, b, a, c), recent(receipt, a, b, c)]
  const [custom, other] = isMonthFirst(language, receipt) ? dayFirst.toReversed() : dayFirst
  if (custom && other && custom.day !== other.day) {
    const isOld = (reading: DayReading) => receipt.today - reading.day! > USUAL_DAYS
    if (isOld(custom) !== isOld(other)) return { ...(isOld(custom) ? other : custom), certainty: 0.8 }
    return { ...custom, certainty: EITHER_ORDER }
  }
  const reading = custom ?? other
  if (reading) return { ...reading, certainty: 0.9 }
  return isDate(a, b) ? { tense: 'ahead', certainty: 0.6 } : undefined
}

function recent(receipt: Receipt, month: number, day: number, year?: number): DayReading | undefined {
  const found = pastDate(receipt.today, month, day, year)
  return found === undefined || receipt.today - found > OLDEST_DAYS
    ? undefined
    : { tense: 'past', day: found, certainty: 0.97 }
}

function isDate(a: number, b: number): boolean {
  return a >= 1 && b >= 1 && ((a <= 12 && b <= 31) || (a <= 31 && b <= 12))
}

/** English in the Americas writes the month first; everyone else the day. Common practice, no source. */
function isMonthFirst(language: Language, { local }: Receipt): boolean {
  return (
    language.code === 'en' &&
    (/^(America|US)\/|^Pacific\/(Honolulu|Guam)/.test(local.zoneName ?? '') || local.offset <= -150)
  )
}

/** Beyond this word no date is asked of the library: nobody dates a period after a hundred words. */
const LAST_CALENDAR_DATE = 100
/** No more dates than these are asked of the library, which is slow: nobody tells a start by so many. */
const MOST_DATES = 6

/** Dates with the name of a month, which a library reads: asked only where a month stands near a number. */
export function calendarDays(
  tokens: Token[],
  classes: ClassRuns,
  language: Language,
  receipt: () => Receipt,
): DayRun[] {
  const parser = CALENDARS[language.code]
  if (!parser || language.months.size === 0) return []
  const isDated = ({ word }: Token, at: number) =>
    language.months.has(word) && [at - 2, at - 1, at + 1, at + 2].some((near) => isNumber(classes[near]))
  const dated = [...tokens.slice(0, LAST_CALENDAR_DATE + 1).entries()].filter(([at, token]) => isDated(token, at))
  return dated.slice(0, MOST_DATES).flatMap(([at]): DayRun[] => {
    const from = Math.max(0, at - 3)
    return calendarDay(tokens.slice(from, at + 4), from, parser, receipt())
  })
}

/** The date in that year, or the next one that is not over. The library saw to it that it exists. */
function comingDate({ today, local }: Receipt, month: number, day: number, year?: number): DayNumber {
  const thisYear = dayNumber(year ?? local.year, month, day)
  return year !== undefined || thisYear >= today ? thisYear : dayNumber(local.year + 1, month, day)
}

function isNumber(classes: ReadonlyMap<string, number[]> | undefined): boolean {
  return classes !== undefined && (classes.has('n') || classes.has('nth'))
}

function calendarDay(tokens: Token[], offset: number, parser: CalendarParser, receipt: Receipt): DayRun[] {
  const text = tokens.map((token) => token.word).join(' ')
  const found = parser.parse(text, { instant: receipt.local.toJSDate(), timezone: receipt.local.offset })
  return found.flatMap(({ start, index, text: words }): DayRun[] => {
    if (!start.isCertain('day') || !start.isCertain('month')) return []
    const from = offset + text.slice(0, index).split(' ').length - 1
    const year = start.isCertain('year') ? start.get('year')! : undefined
    const [month, day] = [start.get('month')!, start.get('day')!]
    const reading = recent(receipt, month, day, year) ?? {
      tense: 'ahead',
      certainty: 0.6,
      date: comingDate(receipt, month, day, year),
    }
    return [{ ...reading, from, to: from + words.split(' ').length, kind: 'calendar' }]
  })
}
