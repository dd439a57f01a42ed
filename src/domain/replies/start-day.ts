import { BESIDE_DAY, clausesAround, isFilled, overlaps, type Clauses } from './clauses.ts'
import type { Run } from './matching.ts'
import type { Scene } from './scene.ts'
import { isRefused } from './tell-visit.ts'
import { openDay, type DayRun } from './dates.ts'

/**
 * The day that belongs to an event told at `match`: inside its words, else the nearest in its clause that is not
 * about the visit, else one that stands alone ("My period started. Yesterday.").
 */
export function dayOf(match: Run, scene: Scene): DayRun | undefined {
  const clause = clausesAround(match, scene.clauses)
  const own = scene.days.filter((day) => overlaps(day, clause) && !isOfVisit(day, match, scene))
  const apart = scene.days.filter(
    (day) =>
      day.tense !== 'ahead' &&
      !overlaps(day, clause) &&
      !isRefused(day, scene) &&
      standsAlone(day, scene.clauses, scene),
  )
  const day =
    nearest(
      own.filter((each) => each.tense !== 'ahead'),
      match,
    ) ??
    nearest(own, match) ??
    apart[0]
  return day && (isContradicted(day, [...own, ...apart]) ? openDay(day) : countedBack(day, [...own, ...apart], scene))
}

const LASTING: ReadonlySet<string> = new Set<string>(['for-days', 'for-a-week'])

/**
 * "Yesterday, I mean Monday", "Tuesday last week": two days that are not the same, or one and a stretch of time.
 * Which is meant was not understood, so it is asked rather than guessed. A numbered day ("day 3 today") and a
 * duration stand beside any.
 */
function isContradicted(day: DayRun, all: DayRun[]): boolean {
  if (all.some(({ kind }) => kind === 'cycle-day')) return false
  return all.some(
    (other) =>
      other.tense !== 'ahead' &&
      (other.tense === 'vague' || (!LASTING.has(other.kind) && !LASTING.has(day.kind))) &&
      other.day !== day.day,
  )
}

/**
 * "Day 1 was yesterday", "day 3 today": the numbered day is the other day named, so the first lies that much
 * before it.
 */
function countedBack(day: DayRun, own: DayRun[], scene: Scene): DayRun {
  const numbered = own.find((other) => other.kind === 'cycle-day')
  const named = own.find((other) => other.kind !== 'cycle-day' && other.tense === 'past' && other.day !== undefined)
  if (numbered?.day === undefined || named?.day === undefined) return day
  const daysIn = scene.receipt().today - numbered.day
  return { ...named, day: named.day - daysIn, certainty: Math.min(named.certainty, 0.95) }
}

function nearest(days: DayRun[], match: Run): DayRun | undefined {
  const distance = (day: DayRun) =>
    overlaps(day, match) ? 0 : day.from >= match.to ? day.from - match.to + 1 : match.from - day.to + 1.5
  return days.toSorted((a, b) => distance(a) - distance(b))[0]
}

/**
 * "Appointment on Friday", "come Monday", "Friday doesn't work": a day of the visit. A day inside or right after
 * the event's words is the event's.
 */
function isOfVisit(day: DayRun, match: Run, scene: Scene): boolean {
  return !overlaps(day, match) && day.from !== match.to && isDayOfVisit(day, scene, match)
}

/** Words of the visit stand right before the day, or after it. Those of `event` are none of the visit. */
export function isDayOfVisit(day: DayRun, scene: Scene, event?: Run): boolean {
  for (let at = Math.max(0, day.from - 3); at < day.from; at++) {
    if (!(event && overlaps(event, { from: at, to: at + 1 })) && scene.classes[at]!.has('visiting')) return true
  }
  return scene.classes[day.to]?.has('visited') ?? false
}

function standsAlone(day: DayRun, clauses: Clauses, scene: Scene): boolean {
  return isFilled(clausesAround(day, clauses), scene.days, scene.classes, BESIDE_DAY)
}
