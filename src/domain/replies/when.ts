import { calendarDays, numericDays, OLDEST_DAYS, openDay, type DayReading, type DayRun } from './dates.ts'
import { addRun, findPatterns, type ClassRuns, type Match } from './matching.ts'
import { numberIn, type Numbered } from './numbers.ts'
import { dayNumber, endOfLastMonth, lastDayOfMonth, type DayNumber, type Receipt } from './receipt.ts'
import type { Token } from './tokens.ts'
import type { DayKind, Language } from './vocabulary.ts'

/** Up to this hour "tonight" means the evening before. */
const NIGHT_ENDS = 4
/**
 * Finds every day that the text speaks of, and marks them as classes (`<day>`, `<past>`, `<ahead>` …) for the
 * phrases to use.
 */
export function findDays(tokens: Token[], classes: ClassRuns, language: Language, receipt: () => Receipt): DayRun[] {
  const said = findPatterns(tokens, classes, language.days).flatMap((match) =>
    isOfNamedMonth(match, classes) ? [] : (readDay(match, { tokens, classes, language }, receipt()) ?? []),
  )
  const found = longest([
    ...said,
    ...numericDays(tokens, language, receipt),
    ...calendarDays(tokens, classes, language, receipt),
  ])
  const runs = oneDayEach(
    found.map((run) => withDate(run, tokens, classes, receipt)),
    classes,
  )
  const whole = runs.map((run) => (isPartOfMore(run, runs, classes) ? { ...openDay(run), kind: run.kind } : run))
  for (const run of whole) markDay(run, classes)
  return whole
}

/**
 * "1 week and |2 days ago|", "twenty |one days ago|", "|a week ago| and two days": what stands beside makes it
 * another day.
 */
function isPartOfMore({ from, to }: DayRun, runs: DayRun[], classes: ClassRuns): boolean {
  const at = isJoint(classes[from - 1]) ? from - 2 : from - 1
  const before = classes[at]
  if (isJoint(classes[to]) && classes[to + 1]?.has('n') && classes[to + 2]?.has('unit'))
    return !runs.some((other) => other.from === to + 1)
  if (!before || runs.some((other) => other.from <= at && at < other.to)) return false
  return before.has('unit') || (before.has('n') && classes[from]!.has('n'))
}

function isJoint(found: ReadonlyMap<string, number[]> | undefined): boolean {
  return found !== undefined && (found.has('joint') || found.has('either'))
}

/** "Since Monday" is a day from "since" on, and from "Monday" on, so that phrases may name the "since" themselves. */
function markDay(run: DayRun, classes: ClassRuns): void {
  for (let from = run.from; from === run.from || (from < run.to && isPreposition(classes[from - 1]!, run)); from++) {
    const found = new Map(classes[from])
    for (const name of classesOf(run)) addRun(found, name, run.to)
    classes[from] = found
  }
}

function isPreposition(classes: ReadonlyMap<string, number[]>, run: DayRun): boolean {
  return classes.has('dating') && run.kind !== 'cycle-day' && !['weekday', 'n', 'nth'].some((name) => classes.has(name))
}

const BEFORE: ReadonlySet<string> = new Set<string>([
  'earlier-today',
  'yesterday',
  'night',
  'before-yesterday',
  'a-day-ago',
  'days-ago',
  'a-week-ago',
  'a-fortnight-ago',
  'weeks-ago',
  'hours-ago',
  'minutes-ago',
])
/** Kinds that phrases may ask for by name. */
const NAMED: ReadonlySet<string> = new Set<string>(['cycle-day', 'for-days', 'days-ago', 'day-of-month'])

/**
 * `<ahead>`, or `<day>`; of days, `<past>` where only the past or today is meant, `<before>` without today; and
 * some kinds.
 */
function classesOf(run: DayRun): string[] {
  if (run.tense === 'ahead') return ['ahead']
  const before = BEFORE.has(run.kind)
  const past = before || run.kind === 'today' || run.kind === 'evening'
  return [
    'day',
    ...(past ? ['past'] : []),
    ...(before ? ['before'] : []),
    ...(NAMED.has(run.kind) ? [run.kind] : []),
    ...(run.kind === 'for-a-week' ? ['for-days'] : []),
  ]
}

/**
 * Of runs that overlap: one with a month's name ("the 20th" alone is less than "20 January"), then the longest, then a
 * numbered day ("the 2nd day").
 */
function longest(runs: DayRun[]): DayRun[] {
  if (runs.length < 2) return runs
  const kept: DayRun[] = []
  for (const run of runs.toSorted((a, b) => weight(b) - weight(a))) {
    if (kept.every((other) => run.to <= other.from || run.from >= other.to)) kept.push(run)
  }
  return kept.sort((a, b) => a.from - b.from)
}

const DATED: ReadonlySet<string> = new Set<string>([
  'calendar',
  'numeric',
  'day-of-month',
  'yesterday',
  'before-yesterday',
  'days-ago',
])

/** "Lundi 9", "el lunes 9": the 9th, where that was a Monday. */
function withDate(run: DayRun, tokens: Token[], classes: ClassRuns, receipt: () => Receipt): DayRun {
  if (!isWeekday(run) || !classes[run.to]?.has('n') || tokens[run.to]!.before > 0) return run
  const day = lastDayOfMonth(receipt().today, Number.parseInt(tokens[run.to]!.word, 10))
  return day !== undefined && (run.day! - day) % 7 === 0 ? { ...run, day, to: run.to + 1, certainty: 0.95 } : run
}

/**
 * "Monday 9 March", "Monday the 9th", "yesterday, Tuesday" speak of one day, which the date names better than the
 * weekday; "Monday or Tuesday" of none that is known.
 */
function oneDayEach(runs: DayRun[], classes: ClassRuns): DayRun[] {
  const merged: DayRun[] = []
  for (const run of runs) {
    const last = merged.at(-1)
    const isNext = last !== undefined && run.from - last.to <= 1
    if (isNext && classes[last.to]!.has('either')) merged[merged.length - 1] = openDay({ from: last.from, to: run.to })
    else if (isNext && isWeekday(last) && DATED.has(run.kind)) merged[merged.length - 1] = agreed(run, last)
    else if (isNext && DATED.has(last.kind) && isWeekday(run)) merged[merged.length - 1] = agreed(last, run)
    else merged.push(run)
  }
  return merged
}

/** A date with its weekday. "Monday the 10th", which is a Tuesday, is no day that is known. */
function agreed(dated: DayRun, weekday: DayRun): DayRun {
  const run = { from: Math.min(dated.from, weekday.from), to: Math.max(dated.to, weekday.to) }
  const isSame = dated.day === undefined || weekday.day === undefined || (dated.day - weekday.day) % 7 === 0
  return isSame ? { ...dated, ...run } : openDay(run)
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
  weekday: (receipt, _, weekday) =>
    back(receipt, (receipt.weekday - weekday + 7) % 7, weekday === receipt.weekday ? 0.75 : 0.95),
  'last-weekday': (receipt, _, weekday) => back(receipt, (receipt.weekday - weekday + 7) % 7 || 7, 0.85),
  'a-day-ago': (receipt) => back(receipt, 1),
  'days-ago': (receipt, n) => back(receipt, n),
  'a-week-ago': (receipt) => back(receipt, 7),
  'a-fortnight-ago': (receipt) => back(receipt, 14, 0.85),
  'weeks-ago': (receipt, n) => back(receipt, 7 * n, n > 2 ? 0.7 : 0.85),
  'hours-ago': (receipt, n) => elapsed(receipt, 60 * n),
  'minutes-ago': (receipt, n) => elapsed(receipt, n),
  // "For three days" may count today or not.
  'for-days': (receipt, n) => back(receipt, n, 0.7),
  'for-a-week': (receipt) => back(receipt, 7, 0.7),
  'cycle-day': (receipt, n) => (n >= 1 ? back(receipt, n - 1, 0.95) : undefined),
  'day-of-month': (receipt, n) => onDay(lastDayOfMonth(receipt.today, n), 0.9),
  'day-of-last-month': (receipt, n) => onDay(lastDayOfMonth(endOfLastMonth(receipt.today), n), 0.95),
}

/** "The 20th" of a month that is named is no day of this one, even where the name was not understood. */
function isOfNamedMonth(match: Match<DayKind>, classes: ClassRuns): boolean {
  const namesMonth = (at: number) => classes[at]?.has('month') ?? false
  return (
    match.sense === 'day-of-month' && (namesMonth(match.to) || namesMonth(match.to + 1) || namesMonth(match.from - 1))
  )
}

/** Without a number these are no one day. */
const COUNTED: ReadonlySet<DayKind> = new Set<DayKind>([
  'days-ago',
  'weeks-ago',
  'for-days',
  'cycle-day',
  'day-of-month',
  'day-of-last-month',
])

function readDay(match: Match<DayKind>, text: Numbered, receipt: Receipt): DayRun | undefined {
  const words = text.tokens.slice(match.from, match.to)
  const weekday = words.map(({ word }) => text.language.weekdays.get(word)).find((value) => value !== undefined) ?? 0
  const number = numberIn(match, text)
  if (number === undefined && COUNTED.has(match.sense)) return openDay(match)
  const reading = READERS[match.sense](receipt, number ?? 1, weekday)
  return reading && { ...reading, from: match.from, to: match.to, kind: match.sense }
}

function back(receipt: Receipt, days: number, certainty = 1): DayReading {
  return days > OLDEST_DAYS
    ? { tense: 'vague', certainty: 0.3 }
    : { tense: 'past', day: receipt.today - days, certainty }
}

function elapsed(receipt: Receipt, minutes: number): DayReading {
  const then = receipt.local.minus({ minutes })
  return { tense: 'past', day: dayNumber(then.year, then.month, then.day), certainty: 0.95 }
}

function onDay(day: DayNumber | undefined, certainty: number): DayReading | undefined {
  return day === undefined ? undefined : { tense: 'past', day, certainty }
}
