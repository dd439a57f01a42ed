import { overlaps } from './clauses.ts'
import type { Match } from './matching.ts'
import { CLINICAL, type Clinical, type Meaning } from './reading.ts'
import type { Scene } from './scene.ts'
import { numberIn } from './numbers.ts'
import { CLINICAL_SENSES, type Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** Bleeding for more days than this is prolonged: FIGO 2018 (Munro, Int J Gynaecol Obstet 143:393). */
const USUAL_DAYS_OF_BLEEDING = 8
/** From this age on a bleed may be one after the menopause. Common practice, no source. */
const LATE_AGE = 55
const OLDEST_AGE = 110

const MARKING = new Set<Sense>(CLINICAL_SENSES)
const ABOUT_BLEEDING = new Set<Meaning>(['period-started', 'still-bleeding', 'bleeding-ended'])
const BLOOD = ['bleeds', 'flow', 'period', 'also-period']
const AGO = new Set<string>(['days-ago', 'weeks-ago', 'a-day-ago', 'a-week-ago', 'a-fortnight-ago'])

/** What a clinician is to be told besides the meaning; the gravest first. */
export function clinicalOf(scene: Scene, senses: Found[], told: Told): Clinical | undefined {
  if (
    told.startedOn !== undefined &&
    told.meanings.includes('still-bleeding') &&
    isLong(daysSince(told.startedOn, scene))
  )
    return 'bleeding'
  const marks = senses.flatMap((match) => (MARKING.has(match.sense) ? (findingOf(match, scene, told) ?? []) : []))
  return marks.length > 0 ? CLINICAL.find((mark) => marks.includes(mark)) : undefined
}

/** What the text told, as far as it matters here. */
interface Told {
  meanings: Meaning[]
  /** Day number of a start. */
  startedOn?: number | undefined
}

function findingOf(match: Found, scene: Scene, told: Told): Clinical | undefined {
  switch (match.sense) {
    case 'abnormal-bleeding':
      return 'bleeding'
    case 'prescribed':
    case 'stopped-medicine':
    case 'anatomy':
      return match.sense
    case 'bleeding-risk':
      return speaksOfBlood(scene, told) ? 'bleeding' : undefined
    case 'age':
      return isLate(numberIn(match, scene)) && speaksOfBlood(scene, told) ? 'bleeding' : undefined
    case 'bleeding-days':
      return isLasting(match, scene, 1) ? 'bleeding' : undefined
    case 'bleeding-weeks':
      return isLasting(match, scene, 7) ? 'bleeding' : undefined
    case 'bleeding-since':
      return scene.days.some(
        (day) => overlaps(day, match) && day.day !== undefined && isLong(daysSince(day.day, scene)),
      )
        ? 'bleeding'
        : undefined
    default:
      return undefined
  }
}

/** Lasting, not past: "bleeding 10 days ago" tells when. */
function isLasting(match: Found, scene: Scene, unit: number): boolean {
  const isPast = scene.days.some((day) => overlaps(day, match) && AGO.has(day.kind))
  return !isPast && isLong(unit * (numberIn(match, scene) ?? 0))
}

function isLong(days: number): boolean {
  return days > USUAL_DAYS_OF_BLEEDING
}

function daysSince(day: number, scene: Scene): number {
  return scene.receipt().today - day
}

function isLate(age: number | undefined): boolean {
  return age !== undefined && age >= LATE_AGE && age <= OLDEST_AGE
}

function speaksOfBlood({ classes }: Scene, { meanings }: Told): boolean {
  return (
    meanings.some((meaning) => ABOUT_BLEEDING.has(meaning)) ||
    classes.some((found) => BLOOD.some((name) => found.has(name)))
  )
}
