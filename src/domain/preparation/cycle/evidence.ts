import { calendarDate, dayNumber } from './days.ts'
import type { CycleHistory } from './history.ts'
import { BLEED, LONGEST_MODELLED_DAYS, SHORTEST_MODELLED_DAYS } from './published.ts'

/** One thing wrong with what is known of a patient's cycles. */
export interface HistoryFault {
  field: string
  message: string
  /** It can be used all the same; a person should look into it. */
  doubt?: true
}

/** What can be used of a history, as day numbers; contradictions are left out, never averaged away. */
export interface Evidence {
  /** First day of the latest known period. */
  lmp?: number
  /** Days either side within which it lies. */
  giveDays: number
  /** No newer period up to and including this day. */
  quietUntil?: number
  /** Day on which the LMP was told. */
  toldOn?: number
  endedOn?: number
  stillBleedingOn?: number
  /** Usual length as stated, days. */
  usualDays?: number
  /** Lengths of past cycles, oldest first. */
  lengths: number[]
}

/**
 * A second start sooner than this is more likely the same period, or bleeding between periods: a person must ask. No
 * source.
 */
export const SHORTEST_CYCLE_DAYS = 15
/** "About" wider than this says no more than "unknown". */
const WIDEST_GIVE_DAYS = 14
/** Stated lengths outside this are slips of the pen; 91 days occurs with contraception. Judgement, no source. */
const USUAL = { shortest: 15, longest: 100 }

const DATED = ['lmp', 'startedOn', 'notStartedBy', 'endedOn', 'stillBleedingOn', 'toldOn'] as const
type Dated = Partial<Record<(typeof DATED)[number], number>>

/**
 * Sorts a history into what can be used and what is wrong with it.
 *
 * @param asOf day number on which it is looked at: anything dated later is a fault
 */
export function sortEvidence(
  history: CycleHistory,
  asOf: number = Infinity,
): { evidence: Evidence; faults: HistoryFault[] } {
  const faults: HistoryFault[] = []
  const fault = (field: string, message: string): void => void faults.push({ field, message })
  const dated = readDates(history, asOf, fault)
  const giveDays = readGive(history, fault)
  const starts = readStarts(history, asOf, fault)
  takeStart(dated, giveDays, starts, fault)
  dropContradictions(dated, fault)
  const usualDays = readUsual(history, fault)
  const lengths = joinLengths(readLengths(history, fault), lengthsBetween(starts, dated.lmp, fault))
  const { startedOn, notStartedBy, ...rest } = dated
  const exact = startedOn !== undefined && startedOn === dated.lmp
  const told = {
    ...(notStartedBy !== undefined && { quietUntil: notStartedBy }),
    ...(usualDays !== undefined && { usualDays }),
  }
  return { evidence: { ...rest, ...told, giveDays: exact ? 0 : giveDays, lengths }, faults }
}

type Report = (field: string, message: string) => void

function readDates(history: CycleHistory, asOf: number, fault: Report): Dated {
  const dated: Dated = {}
  for (const field of DATED) {
    const date = history[field]
    if (date === undefined) continue
    const day = dayNumber(date, field)
    if (day > asOf) fault(field, 'This date is in the future. Correct it, or ask the patient again.')
    else dated[field] = day
  }
  return dated
}

function readGive({ lmpGiveDays }: CycleHistory, fault: Report): number {
  if (lmpGiveDays === undefined) return 0
  if (lmpGiveDays >= 0 && lmpGiveDays <= WIDEST_GIVE_DAYS) return Math.round(lmpGiveDays)
  fault(
    'lmpGiveDays',
    `Give 0 to ${WIDEST_GIVE_DAYS} days either side; if it is less certain, enter the last period as unknown.`,
  )
  return WIDEST_GIVE_DAYS
}

function readUsual({ usualCycleDays }: CycleHistory, fault: Report): number | undefined {
  if (usualCycleDays === undefined || (usualCycleDays >= USUAL.shortest && usualCycleDays <= USUAL.longest))
    return usualCycleDays
  fault('usualCycleDays', `Give ${USUAL.shortest} to ${USUAL.longest} days, or leave it out.`)
  return undefined
}

function readStarts({ pastStarts = [] }: CycleHistory, asOf: number, fault: Report): number[] {
  const days = pastStarts.map((date, i) => dayNumber(date, `pastStarts.${i}`))
  if (days.some((day) => day > asOf)) fault('pastStarts', 'An earlier period is dated in the future. Correct it.')
  return [...new Set(days.filter((day) => day <= asOf))].sort((a, b) => a - b)
}

/** A newer start becomes the LMP and the old LMP a past start; within the "about" of the LMP it only makes it exact. */
function takeStart(dated: Dated, giveDays: number, starts: number[], fault: Report): void {
  const { lmp, startedOn, notStartedBy } = dated
  if (startedOn === undefined || startedOn === lmp) return
  const misplaced = lmp !== undefined && Math.abs(startedOn - lmp) > giveDays ? misplacedBy(startedOn - lmp) : undefined
  const denied = notStartedBy !== undefined && startedOn < notStartedBy && (lmp === undefined || startedOn > lmp)
  if (misplaced !== undefined || denied) {
    fault(
      'startedOn',
      misplaced ??
        `The patient also said that no period had begun by ${calendarDate(notStartedBy!)}. Ask which is right.`,
    )
    delete dated.startedOn
    // Of two answers that exclude each other neither is used.
    if (misplaced === undefined) delete dated.notStartedBy
    return
  }
  if (lmp !== undefined && startedOn - lmp > giveDays) starts.push(lmp)
  dated.lmp = startedOn
  delete dated.toldOn
  if (notStartedBy !== undefined && notStartedBy < startedOn) delete dated.notStartedBy
}

/** Why a start so many days after the last cannot stand unasked. */
function misplacedBy(days: number): string | undefined {
  if (days < 0) return 'This start is before the last period on file. Ask which is right.'
  return days < SHORTEST_CYCLE_DAYS
    ? `This start is only ${days} days after the last period on file. Ask which is right.`
    : undefined
}

/** Leaves out what cannot be true of a period that began on the LMP. */
function dropContradictions(dated: Dated, fault: Report): void {
  const { lmp } = dated
  const drop = (field: keyof Dated, message: string): void => {
    fault(field, message)
    delete dated[field]
  }
  if (lmp !== undefined && dated.notStartedBy !== undefined && dated.notStartedBy < lmp)
    drop('notStartedBy', 'The last period on file is later than this answer. Ask which is right.')
  if (lmp !== undefined && dated.toldOn !== undefined && dated.toldOn < lmp)
    drop('toldOn', 'The last period is later than the day on which it was told.')
  for (const field of ['endedOn', 'stillBleedingOn'] as const) {
    const day = dated[field]
    if (lmp === undefined || day === undefined) continue
    if (day < lmp) drop(field, 'This is before the period on file began. Ask which is right.')
    else if (day - lmp >= BLEED.longestDays)
      drop(field, `This is ${day - lmp} days after the period on file began. Ask whether a new one has begun.`)
  }
  if (dated.endedOn !== undefined && dated.stillBleedingOn !== undefined && dated.endedOn < dated.stillBleedingOn)
    drop(
      'endedOn',
      `The patient was still bleeding on ${calendarDate(dated.stillBleedingOn)}. Ask whether it has ended since.`,
    )
}

function readLengths({ pastCycleDays = [] }: CycleHistory, fault: Report): number[] {
  return pastCycleDays.filter((days, i) => {
    const usable = days >= SHORTEST_MODELLED_DAYS && days <= LONGEST_MODELLED_DAYS
    if (!usable) fault(`pastCycleDays.${i}`, `A cycle of ${days} days cannot be used. Check the dates.`)
    return usable
  })
}

function lengthsBetween(starts: number[], lmp: number | undefined, fault: Report): number[] {
  const all = lmp === undefined ? starts : [...starts.filter((day) => day < lmp), lmp]
  if (lmp !== undefined && starts.some((day) => day > lmp))
    fault('pastStarts', 'An earlier period is dated after the last one. Ask which is right.')
  const lengths = all.slice(1).map((day, i) => day - all[i]!)
  const short = lengths.find((days) => days < SHORTEST_CYCLE_DAYS)
  if (short !== undefined)
    fault('pastStarts', `Two periods are said to have started ${short} days apart. Ask which is right.`)
  // A longer gap is a hole in the record, not a cycle.
  return lengths.filter((days) => days >= SHORTEST_CYCLE_DAYS && days <= LONGEST_MODELLED_DAYS)
}

/** Lengths and dates of starts may tell of the same cycles: what overlaps counts once. */
function joinLengths(told: number[], dated: number[]): number[] {
  for (let overlap = Math.min(told.length, dated.length); overlap > 0; overlap--) {
    if (told.slice(-overlap).every((days, i) => days === dated[i])) return [...told, ...dated.slice(overlap)]
  }
  return [...told, ...dated]
}
