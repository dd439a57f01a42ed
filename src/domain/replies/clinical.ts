import { overlaps } from './clauses.ts'
import type { Match } from './matching.ts'
import { CLINICAL, type Clinical, type Meaning } from './reading.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'
import type { Scene } from './scene.ts'
import { numberIn } from './numbers.ts'
import type { Sense } from './vocabulary.ts'

type Found = Match<Sense>

/** Bleeding for more days than this is prolonged: FIGO 2018 (Munro, Int J Gynaecol Obstet 143:393). */
const USUAL_DAYS_OF_BLEEDING = 8
/** From this age on a bleed may be one after the menopause. Common practice, no source. */
const LATE_AGE = 55
const OLDEST_AGE = 110

const BLOOD = ['bleeds', 'flow', 'period', 'also-period']
const AGO: ReadonlySet<string> = new Set<string>([
  'days-ago',
  'weeks-ago',
  'a-day-ago',
  'a-week-ago',
  'a-fortnight-ago',
])

/** What a clinician is to be told besides the meaning; the gravest first. */
export function clinicalOf(scene: Scene, senses: Found[], told: Told): Clinical | undefined {
  if (
    told.startedOn !== undefined &&
    told.meanings.includes('still-bleeding') &&
    isLong(daysSince(told.startedOn, scene))
  )
    return 'bleeding'
  const marks = senses.flatMap((match) => FINDINGS[match.sense]?.(match, scene, told) ?? [])
  // Whoever has no uterus, or takes hormones, has no period: blood is then something else.
  if (marks.includes('anatomy') && speaksOfBlood(scene, told)) return 'bleeding'
  return marks.length > 0 ? CLINICAL.find((mark) => marks.includes(mark)) : undefined
}

/** A period this many days late is "long past": a clinician calls. Value chosen by judgement, no source. */
const LONG_LATE = 7

/** Whether a late period is so late that a clinician calls. */
export function isLongLate(match: Found, scene: Scene): boolean {
  return (numberIn(match, scene) ?? 0) >= LONG_LATE
}

/** A pregnancy with bleeding or pain is an emergency, whichever way each is said. */
export function isPregnancyInDanger({ classes }: Scene, senses: Found[]): boolean {
  const isPregnant = senses.some(({ sense }) => sense === 'today-pregnancy')
  return isPregnant && classes.some((found) => found.has('bleeds') || found.has('pain'))
}

/** What the text told, as far as it matters here. */
interface Told {
  meanings: Meaning[]
  /** Day number of a start. */
  startedOn?: number | undefined
}

type Finding = (match: Found, scene: Scene, told: Told) => Clinical | undefined

/** What a sense that matters to a clinician is found to be; other senses are none. */
const FINDINGS: Partial<Record<Sense, Finding>> = {
  'today-bleeding': () => 'bleeding',
  'today-pregnancy': () => 'pregnancy',
  'today-late': () => 'late-period',
  'late-some-days': (match, scene) => (isLongLate(match, scene) ? 'late-period' : undefined),
  'today-pain': () => 'symptom',
  assault: () => 'symptom',
  confides: () => 'symptom',
  'may-wait': () => 'may-wait',
  'abnormal-bleeding': () => 'bleeding',
  prescribed: () => 'prescribed',
  'stopped-medicine': () => 'stopped-medicine',
  anatomy: () => 'anatomy',
  'bleeding-risk': (_match, scene, told) => (speaksOfBlood(scene, told) ? 'bleeding' : undefined),
  age: (match, scene, told) => (isLate(numberIn(match, scene)) && speaksOfBlood(scene, told) ? 'bleeding' : undefined),
  'bleeding-days': (match, scene) => (isLasting(match, scene, 1) ? 'bleeding' : undefined),
  'bleeding-weeks': (match, scene) => (isLasting(match, scene, 7) ? 'bleeding' : undefined),
  'bleeding-since': (match, scene) => {
    const isSince = (day: Scene['days'][number]) =>
      overlaps(day, match) && day.day !== undefined && isLong(daysSince(day.day, scene))
    return scene.days.some(isSince) ? 'bleeding' : undefined
  },
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

/** Whether blood or a period is spoken of. */
export function speaksOfBlood({ classes }: Scene, { meanings }: Pick<Told, 'meanings'>): boolean {
  return (
    meanings.some((meaning) => REPLY_MEANINGS[meaning].bleeding === 'told') ||
    classes.some((found) => BLOOD.some((name) => found.has(name)))
  )
}
