import { strict as english } from 'chrono-node'
import { strict as spanish } from 'chrono-node/es'
import { strict as french } from 'chrono-node/fr'
import { strict as ukrainian } from 'chrono-node/uk'
import { addRun, findPatterns, type ClassRuns, type Match, type Run } from './matching.ts'
import { dayNumber, endOfLastMonth, lastDayOfMonth, pastDate, type DayNumber, type Receipt } from './receipt.ts'
import type { Token } from './tokens.ts'
import type { DayKind, Language } from './vocabulary.ts'

/** What some words say about a day: always the most recent past reading, unless it lies ahead of the receipt. */
interface DayReading {
  /** `past`: today or before. `ahead`: after the receipt. `vague`: past, but no one day ("last week"). */
  tense: 'past' | 'ahead' | 'vague'
  day?: DayNumber
  /** 0..1: how surely the words mean this very day. */
  certainty: number
}

/** A day spoken of in the text. */
export interface DayRun extends Run, DayReading {
  kind: DayKind | 'numeric' | 'calendar'
}

/** A period that began longer ago than this is not told by day and month alone: it would be a date of last year. */
const OLDEST_DAYS = 150
/** Of two readings of a numeric date, one beyond this and one within, the one within is meant: 95 % of cycles last 15-45 days (Chiazze 1968, JAMA 203:377). */
const USUAL_DAYS = 45
/** Up to this hour "tonight" means the evening before. */
const NIGHT_ENDS = 4
/** Part of the certainty that is left when a date like 3/4 may be March or April and the custom of the place decides. */
const EITHER_ORDER = 0.55

const NUMERIC = /^(\d{1,4})[/.-](\d{1,2})(?:[/.-](\d{1,4}))?$/
type CalendarParser = Pick<typeof english, 'parse'>
const CALENDARS: Record<string, CalendarParser> = { en: english, fr: french, es: spanish, uk: ukrainian }

/** Finds every day that the text speaks of, and marks them as classes (`<day>`, `<past>`, `<ahead>` …) for the phrases to use. */
export function findDays(tokens: Token[], classes: ClassRuns, language: Language, receipt: () => Receipt): DayRun[] {
  const said = findPatterns(tokens, classes, language.days).flatMap((match) => (isOfNamedMonth(match, classes) ? [] : (readDay(match, tokens, language, receipt()) ?? [])))
  const found = longest([...said, ...numericDays(tokens, language, receipt), ...calendarDays(tokens, classes, language, receipt)])
  const runs = oneDayEach(found.map((run) => withDate(run, tokens, classes, receipt)), classes)
  for (const run of runs) markDay(run, classes)
  return runs
}

/** "Since Monday" is a day from "since" on, and from "Monday" on, so that phrases may name the "since" themselves. */
function markDay(run: DayRun, classes: ClassRuns): void {
  for (let from = run.from; from === run.from || (from < run.to && isPreposition(classes[from - 1]!, run)); from++) {
    if (classes[from]!.size === 0) classes[from] = new Map()
    for (const name of classesOf(run)) addRun(classes[from]!, name, run.to)
  }
}

function isPreposition(classes: Map<string, number[]>, run: DayRun): boolean {
  return classes.has('dating') && run.kind !== 'cycle-day' && !['weekday', 'n', 'nth'].some((name) => classes.has(name))
}

const BEFORE = new Set<string>([
  'earlier-today', 'yesterday', 'night', 'before-yesterday', 'a-day-ago', 'days-ago', 'a-week-ago', 'weeks-ago', 'hours-ago', 'minutes-ago',
])
/** Kinds that phrases may ask for by name. */
const NAMED = new Set<string>(['cycle-day', 'for-days', 'days-ago', 'day-of-month'])

/** `<ahead>`, or `<day>`; of days, `<past>` where only the past or today is meant, `<before>` without today; and some kinds. */
function classesOf(run: DayRun): string[] {
  if (run.tense === 'ahead') return ['ahead']
  const before = BEFORE.has(run.kind)
  const past = before || run.kind === 'today' || run.kind === 'evening'
  return ['day', ...(past ? ['past'] : []), ...(before ? ['before'] : []), ...(NAMED.has(run.kind) ? [run.kind] : [])]
}

/** Of runs that overlap: one with a month's name ("the 20th" alone is less than "20 January"), then the longest, then a numbered day ("the 2nd day"). */
function longest(runs: DayRun[]): DayRun[] {
  if (runs.length < 2) return runs
  const kept: DayRun[] = []
  for (const run of runs.toSorted((a, b) => weight(b) - weight(a))) {
    if (kept.every((other) => run.to <= other.from || run.from >= other.to)) kept.push(run)
  }
  return kept.sort((a, b) => a.from - b.from)
}

const DATED = new Set<string>(['calendar', 'numeric', 'day-of-month', 'yesterday', 'before-yesterday', 'days-ago'])

/** "Lundi 9", "el lunes 9": the 9th, where that was a Monday. */
function withDate(run: DayRun, tokens: Token[], classes: ClassRuns, receipt: () => Receipt): DayRun {
  if (!isWeekday(run) || !classes[run.to]?.has('n') || tokens[run.to]!.before > 0) return run
  const day = lastDayOfMonth(receipt().today, Number.parseInt(tokens[run.to]!.word, 10))
  return day !== undefined && (run.day! - day) % 7 === 0 ? { ...run, day, to: run.to + 1, certainty: 0.95 } : run
}

/**
 * "Monday 9 March", "Monday the 9th", "yesterday, Tuesday" speak of one day, which the date names better than the weekday;
 * "Monday or Tuesday" of none that is known.
 */
function oneDayEach(runs: DayRun[], classes: ClassRuns): DayRun[] {
  const merged: DayRun[] = []
  for (const run of runs) {
    const last = merged.at(-1)
    const isNext = last !== undefined && run.from - last.to <= 1
    if (isNext && classes[last.to]!.has('either')) merged[merged.length - 1] = { from: last.from, to: run.to, tense: 'vague', certainty: 0.3, kind: 'vague' }
    else if (isNext && isWeekday(last) && DATED.has(run.kind)) merged[merged.length - 1] = { ...run, from: last.from }
    else if (isNext && DATED.has(last.kind) && isWeekday(run)) merged[merged.length - 1] = { ...last, to: run.to }
    else merged.push(run)
  }
  return merged
}

function isWeekday(run: DayRun): boolean {
  return run.kind === 'weekday' || run.kind === 'last-weekday'
}

function weight(run: DayRun): number {
  return 2 * (run.to - run.from) + (run.kind === 'calendar' ? 100 : 0) + (run.kind === 'cycle-day' ? 1 : 0)
}

type Reader = (receipt: Receipt, n: number, weekday: number) => DayReading | undefined

const READERS: Record<DayKind, Reader> = {
  today: (receipt) => back(receipt, 0),
  'earlier-today': (receipt) => back(receipt, 0),
  yesterday: (receipt) => back(receipt, 1),
  night: (receipt) => back(receipt, 1),
  'before-yesterday': (receipt) => back(receipt, 2),
  evening: (receipt) => back(receipt, receipt.hour < NIGHT_ENDS ? 1 : 0),
  ahead: () => ({ tense: 'ahead', certainty: 1 }),
  'next-weekday': () => ({ tense: 'ahead', certainty: 1 }),
  vague: () => ({ tense: 'vague', certainty: 0.3 }),
  weekday: (receipt, _, weekday) => back(receipt, (receipt.weekday - weekday + 7) % 7, weekday === receipt.weekday ? 0.75 : 0.95),
  'last-weekday': (receipt, _, weekday) => back(receipt, (receipt.weekday - weekday + 7) % 7 || 7, 0.85),
  'a-day-ago': (receipt) => back(receipt, 1),
  'days-ago': (receipt, n) => back(receipt, n),
  'a-week-ago': (receipt) => back(receipt, 7),
  'weeks-ago': (receipt, n) => back(receipt, 7 * n, n > 2 ? 0.7 : 0.85),
  'hours-ago': (receipt, n) => elapsed(receipt, 60 * n),
  'minutes-ago': (receipt, n) => elapsed(receipt, n),
  // "For three days" may count today or not.
  'for-days': (receipt, n) => back(receipt, n, 0.7),
  'cycle-day': (receipt, n) => (n >= 1 ? back(receipt, n - 1, 0.95) : undefined),
  'day-of-month': (receipt, n) => onDay(lastDayOfMonth(receipt.today, n), 0.9),
  'day-of-last-month': (receipt, n) => onDay(lastDayOfMonth(endOfLastMonth(receipt.today), n), 0.95),
}

/** "The 20th" of a month that is named is no day of this one, even where the name was not understood. */
function isOfNamedMonth(match: Match<DayKind>, classes: ClassRuns): boolean {
  const namesMonth = (at: number) => classes[at]?.has('month') ?? false
  return match.sense === 'day-of-month' && (namesMonth(match.to) || namesMonth(match.to + 1) || namesMonth(match.from - 1))
}

function readDay(match: Match<DayKind>, tokens: Token[], language: Language, receipt: Receipt): DayRun | undefined {
  let n = 1
  let weekday = 0
  for (let i = match.from; i < match.to; i++) {
    const { word } = tokens[i]!
    const digits = /\d+/.exec(word)
    n = digits ? Number(digits[0]) : (language.values.get(word) ?? n)
    weekday = language.weekdays.get(word) ?? weekday
  }
  const reading = READERS[match.sense](receipt, n, weekday)
  return reading && { ...reading, from: match.from, to: match.to, kind: match.sense }
}

function back(receipt: Receipt, days: number, certainty = 1): DayReading {
  return days > OLDEST_DAYS ? { tense: 'vague', certainty: 0.3 } : { tense: 'past', day: receipt.today - days, certainty }
}

function elapsed(receipt: Receipt, minutes: number): DayReading {
  const then = receipt.local.minus({ minutes })
  return { tense: 'past', day: dayNumber(then.year, then.month, then.day), certainty: 0.95 }
}

function onDay(day: DayNumber | undefined, certainty: number): DayReading | undefined {
  return day === undefined ? undefined : { tense: 'past', day, certainty }
}

/** 14/3, 3-14, 2026-03-14: whichever order gives a day in the recent past; when both do, the custom of the place decides. */
function numericDays(tokens: Token[], language: Language, receipt: () => Receipt): DayRun[] {
  return tokens.flatMap((token, at): DayRun[] => {
    const parts = NUMERIC.exec(token.word)
    const reading = parts && readNumbers(parts.slice(1).map((part) => (part === undefined ? undefined : Number(part))), language, receipt())
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
  return found === undefined || receipt.today - found > OLDEST_DAYS ? undefined : { tense: 'past', day: found, certainty: 0.97 }
}

function isDate(a: number, b: number): boolean {
  return a >= 1 && b >= 1 && ((a <= 12 && b <= 31) || (a <= 31 && b <= 12))
}

/** English in the Americas writes the month first; everyone else the day. Common practice, no source. */
function isMonthFirst(language: Language, { local }: Receipt): boolean {
  return language.code === 'en' && (/^(America|US)\/|^Pacific\/(Honolulu|Guam)/.test(local.zoneName ?? '') || local.offset <= -150)
}

/** Beyond this word no date is asked of the library: nobody dates her period after a hundred words. */
const LAST_CALENDAR_DATE = 100

/** Dates with the name of a month, which a library reads: asked only where a month stands near a number. */
function calendarDays(tokens: Token[], classes: ClassRuns, language: Language, receipt: () => Receipt): DayRun[] {
  const parser = CALENDARS[language.code]
  if (!parser || language.months.size === 0) return []
  return tokens.flatMap((token, at): DayRun[] => {
    if (!language.months.has(token.word) || at > LAST_CALENDAR_DATE || ![at - 2, at - 1, at + 1, at + 2].some((near) => isNumber(classes[near]))) return []
    const from = Math.max(0, at - 3)
    return calendarDay(tokens.slice(from, at + 4), from, parser, receipt())
  })
}

function isNumber(classes: Map<string, number[]> | undefined): boolean {
  return classes !== undefined && (classes.has('n') || classes.has('nth'))
}

function calendarDay(tokens: Token[], offset: number, parser: CalendarParser, receipt: Receipt): DayRun[] {
  const text = tokens.map((token) => token.word).join(' ')
  const found = parser.parse(text, { instant: receipt.local.toJSDate(), timezone: receipt.local.offset })
  return found.flatMap(({ start, index, text: words }): DayRun[] => {
    if (!start.isCertain('day') || !start.isCertain('month')) return []
    const from = offset + text.slice(0, index).split(' ').length - 1
    const year = start.isCertain('year') ? start.get('year')! : undefined
    const reading = recent(receipt, start.get('month')!, start.get('day')!, year) ?? { tense: 'ahead', certainty: 0.6 }
    return [{ ...reading, from, to: from + words.split(' ').length, kind: 'calendar' }]
  })
}
