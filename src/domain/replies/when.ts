import { strict as english } from 'chrono-node'
import { strict as spanish } from 'chrono-node/es'
import { strict as french } from 'chrono-node/fr'
import { strict as ukrainian } from 'chrono-node/uk'
import type { DateTime } from 'luxon'
import type { CalendarDate } from '../cycle/history.ts'
import { addRun, findPatterns, type ClassRuns, type Match, type Run } from './matching.ts'
import type { Token } from './tokens.ts'
import type { DayKind, Language } from './vocabulary.ts'

/** A day spoken of in the text, as seen from the receipt: always the most recent past reading, unless it lies ahead. */
export interface DayRun extends Run {
  /** `past`: today or before. `ahead`: after the receipt. `vague`: past, but no one day ("last week"). */
  tense: 'past' | 'ahead' | 'vague'
  day?: CalendarDate
  /** 0..1: how surely the words mean this very day. */
  certainty: number
  kind: DayKind | 'numeric' | 'calendar'
}

/** A period that began longer ago than this is not told by day and month alone: it would be a date of last year. */
const OLDEST_DAYS = 150
/** Up to this hour "tonight" and "last night" mean the evening before. */
const NIGHT_ENDS = 4

const NUMERIC = /^(\d{1,4})[/.-](\d{1,2})(?:[/.-](\d{1,4}))?$/
const CALENDARS: Record<string, Pick<typeof english, 'parse'>> = { en: english, fr: french, es: spanish, uk: ukrainian }

/** Finds every day that the text speaks of, and marks them as classes `<day>` and `<ahead>` for the phrases to use. */
export function findDays(tokens: Token[], classes: ClassRuns, language: Language, received: DateTime): DayRun[] {
  const said = findPatterns(tokens, classes, language.days).flatMap((match) => readDay(match, tokens, language, received) ?? [])
  const runs = longest([...said, ...numericDays(tokens, language, received), ...calendarDays(tokens, classes, language, received)])
  for (const run of runs) {
    // "Since Monday" is a day from "since" on, and from "Monday" on, so that phrases may name the "since" themselves.
    for (let from = run.from; from === run.from || (from < run.to && isPreposition(classes[from - 1]!, run)); from++) {
      if (classes[from]!.size === 0) classes[from] = new Map()
      for (const name of classesOf(run)) addRun(classes[from]!, name, run.to)
    }
  }
  return runs
}

function isPreposition(classes: Map<string, number[]>, run: DayRun): boolean {
  return WITH_PREPOSITION.has(run.kind) && !['weekday', 'n', 'nth'].some((name) => classes.has(name))
}

/** Kinds that phrases may ask for by name. */
const NAMED = new Set<string>(['cycle-day', 'for-days', 'days-ago', 'day-of-month'])

const WITH_PREPOSITION = new Set<string>(['weekday', 'last-weekday', 'day-of-month'])

const BEFORE = new Set<string>(['earlier-today', 'yesterday', 'night', 'before-yesterday', 'a-day-ago', 'days-ago', 'a-week-ago', 'weeks-ago', 'hours-ago', 'minutes-ago'])

/** `<ahead>`, or `<day>`; of days, `<past>` where nothing but the past is possible or today, `<before>` without today; and the kind. */
function classesOf(run: DayRun): string[] {
  if (run.tense === 'ahead') return ['ahead']
  const before = BEFORE.has(run.kind)
  const past = before || run.kind === 'today' || run.kind === 'evening'
  return ['day', ...(past ? ['past'] : []), ...(before ? ['before'] : []), ...(NAMED.has(run.kind) ? [run.kind] : [])]
}

/** Of runs that overlap, the longest; of equally long ones the first. */
function longest(runs: DayRun[]): DayRun[] {
  if (runs.length < 2) return runs
  const kept: DayRun[] = []
  for (const run of [...runs].sort((a, b) => b.to - b.from - (a.to - a.from))) {
    if (kept.every((other) => run.to <= other.from || run.from >= other.to)) kept.push(run)
  }
  return kept.sort((a, b) => a.from - b.from)
}

type Reader = (received: DateTime, n: number, weekday: number) => Omit<DayRun, 'from' | 'to' | 'kind'> | undefined

const READERS: Record<DayKind, Reader> = {
  today: (received) => back(received, 0),
  'earlier-today': (received) => back(received, 0),
  yesterday: (received) => back(received, 1),
  night: (received) => back(received, 1),
  'before-yesterday': (received) => back(received, 2),
  evening: (received) => back(received, received.hour < NIGHT_ENDS ? 1 : 0),
  ahead: () => ({ tense: 'ahead', certainty: 1 }),
  'next-weekday': () => ({ tense: 'ahead', certainty: 1 }),
  vague: () => ({ tense: 'vague', certainty: 0.3 }),
  about: () => undefined,
  weekday: (received, _, weekday) => back(received, (received.weekday - weekday + 7) % 7, weekday === received.weekday ? 0.75 : 0.95),
  'last-weekday': (received, _, weekday) => back(received, (received.weekday - weekday + 7) % 7 || 7, 0.85),
  'a-day-ago': (received) => back(received, 1),
  'days-ago': (received, n) => back(received, n),
  'a-week-ago': (received) => back(received, 7),
  'weeks-ago': (received, n) => back(received, 7 * n, n > 2 ? 0.7 : 0.85),
  'hours-ago': (received, n) => ({ tense: 'past', day: received.minus({ hours: n }).toISODate()!, certainty: 0.95 }),
  'minutes-ago': (received, n) => ({ tense: 'past', day: received.minus({ minutes: n }).toISODate()!, certainty: 0.95 }),
  // "For three days" may count today or not.
  'for-days': (received, n) => back(received, n, 0.7),
  'cycle-day': (received, n) => (n >= 1 ? back(received, n - 1, 0.95) : undefined),
  'day-of-month': (received, n) => dayOfMonth(received, n),
  'day-of-last-month': (received, n) => dayOfMonth(received.startOf('month').minus({ days: 1 }), n),
}

function readDay(match: Match<DayKind>, tokens: Token[], language: Language, received: DateTime): DayRun | undefined {
  let n = 1
  let weekday = 0
  for (let i = match.from; i < match.to; i++) {
    const { word } = tokens[i]!
    n = /^\d/.test(word) ? Number.parseInt(word, 10) : (language.values.get(word) ?? n)
    weekday = language.weekdays.get(word) ?? weekday
  }
  const day = READERS[match.sense](received, n, weekday)
  return day && { ...day, from: match.from, to: match.to, kind: match.sense }
}

function back(received: DateTime, days: number, certainty = 1): Omit<DayRun, 'from' | 'to' | 'kind'> {
  if (days > OLDEST_DAYS) return { tense: 'vague', certainty: 0.3 }
  return { tense: 'past', day: received.minus({ days }).toISODate()!, certainty }
}

function dayOfMonth(received: DateTime, day: number): ReturnType<Reader> {
  if (day < 1 || day > 31) return undefined
  for (let month = 0; month < 3; month++) {
    const date = received.startOf('month').minus({ months: month }).set({ day })
    if (date.day === day && date <= received) return { tense: 'past', day: date.toISODate()!, certainty: 0.9 }
  }
  return undefined
}

/** 14/3, 3-14, 2026-03-14: whichever order gives a day in the recent past; when both do, the custom of the place decides. */
function numericDays(tokens: Token[], language: Language, received: DateTime): DayRun[] {
  return tokens.flatMap((token, at): DayRun[] => {
    const parts = NUMERIC.exec(token.word)
    if (!parts) return []
    const run = { from: at, to: at + 1, kind: 'numeric' as const }
    const [a, b, c] = parts.slice(1).map((part) => (part === undefined ? undefined : Number(part))) as [number, number, number?]
    const dayFirst = a > 31 ? [pastDate(received, b, c ?? 0, a)] : [pastDate(received, b, a, c), pastDate(received, a, b, c)]
    const [custom, other] = isMonthFirst(language, received) ? dayFirst.toReversed() : dayFirst
    const day = custom ?? other
    if (!day) return a > 31 || c !== undefined || isDate(a, b) ? [{ ...run, tense: 'ahead', certainty: 0.6 }] : []
    return [{ ...run, tense: 'past', day, certainty: custom && other && custom !== other ? 0.55 : 0.9 }]
  })
}

function isDate(a: number, b: number): boolean {
  return a >= 1 && b >= 1 && ((a <= 12 && b <= 31) || (a <= 31 && b <= 12))
}

/** English in the Americas writes the month first; everyone else the day. Common practice, no source. */
function isMonthFirst(language: Language, received: DateTime): boolean {
  return language.code === 'en' && (/^America\/|^US\/|^Pacific\/(Honolulu|Guam)/.test(received.zoneName ?? '') || received.offset <= -150)
}

function pastDate(received: DateTime, month: number, day: number, year?: number): CalendarDate | undefined {
  if (month < 1 || month > 12 || day < 1 || day > 31) return undefined
  const years = year === undefined ? [received.year, received.year - 1] : [year < 100 ? 2000 + year : year]
  for (const candidate of years) {
    const date = received.set({ year: candidate, month, day: 1 }).startOf('day').set({ day })
    if (date.isValid && date.month === month && date <= received && received.diff(date, 'days').days <= OLDEST_DAYS) return date.toISODate()!
  }
  return undefined
}

/** Dates with the name of a month, which a library reads: only where a month stands beside a number. */
function calendarDays(tokens: Token[], classes: ClassRuns, language: Language, received: DateTime): DayRun[] {
  const parser = CALENDARS[language.code]
  if (!parser) return []
  return tokens.flatMap((token, at) => {
    if (!language.months.has(token.word)) return []
    if (!isNumber(classes[at - 1]) && !isNumber(classes[at + 1]) && !isNumber(classes[at - 2]) && !isNumber(classes[at + 2])) return []
    const from = Math.max(0, at - 3)
    return calendarDay(tokens.slice(from, at + 4), from, parser, received)
  })
}

function isNumber(classes: Map<string, number[]> | undefined): boolean {
  return classes !== undefined && (classes.has('n') || classes.has('nth'))
}

function calendarDay(tokens: Token[], offset: number, parser: Pick<typeof english, 'parse'>, received: DateTime): DayRun[] {
  const text = tokens.map((token) => token.word).join(' ')
  const reference = { instant: received.toJSDate(), timezone: received.offset }
  return parser.parse(text, reference).flatMap((result): DayRun[] => {
    const { start } = result
    if (!start.isCertain('day') || !start.isCertain('month')) return []
    const first = text.slice(0, result.index).split(' ').length - 1
    const run = { from: offset + first, to: offset + first + result.text.split(' ').length, kind: 'calendar' as const }
    const day = pastDate(received, start.get('month')!, start.get('day')!, start.isCertain('year') ? start.get('year')! : undefined)
    return [day ? { ...run, tense: 'past', day, certainty: 0.97 } : { ...run, tense: 'ahead', certainty: 0.6 }]
  })
}
