import { follow, say, type Effect } from './effects.ts'
import { isAboutTheNumber, type Question, type Meaning, type NumberMeaning, type Reading } from './reading.ts'
import type { FollowUpReason } from '../calls/follow-up.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'

/** Why a number wants no messages: somebody there said so, or that the patient is somebody else. */
export type Refusal = 'stop' | 'wrong-person'

/** What is known where a number writes. */
export interface NumberSituation {
  /** What the number has refused before. */
  refused: Refusal | null
  /** What was asked last. */
  asked: Question | undefined
  /** A visit is today or tomorrow. */
  isNear: boolean
  /** A patient there is recorded as pregnant, or comes because of it. */
  isPregnant: boolean
  /** Every visit is routine, and not due yet. */
  mayBePutOff: boolean
}

const NOTHING_KNOWN: NumberSituation = {
  refused: null,
  asked: undefined,
  isNear: false,
  isPregnant: false,
  mayBePutOff: true,
}

/**
 * What to do about a reply that concerns the number, not one visit. An alarm beside anything else is never overlooked.
 */
export function decideForNumber(reading: Reading, known: Partial<NumberSituation> = {}): Effect[] {
  const situation = { ...NOTHING_KNOWN, ...known }
  const { refused, asked } = situation
  const { meaning, also = [], clinical, level } = reading
  if (meaning === 'urgent')
    return [...(level === 'today' ? clinicianToday(reading, situation) : alarm()), ...need(reading)]
  if (meaning === 'rejoin' && refused === null && asked !== undefined && ABOUT_THE_PERIOD.has(asked))
    return [...say('unclear'), follow('unclear-reply'), ...need(reading)]
  const effects = isAboutTheNumber(meaning) ? byNumber(meaning, also, refused) : []
  // Whoever tells of a death is not told to call an emergency number. The call about an alarm carries all words.
  if (meaning === 'died') return effects
  if (clinical !== undefined || level === 'today') effects.push(follow(reasonFor(reading)))
  effects.push(...need(reading))
  return also.includes('urgent') && level !== 'today' ? [...effects, ...alarm()] : effects
}

/**
 * After one of these, START from a number that gets messages anyway may well say that the period has begun: a person
 * reads it.
 */
const ABOUT_THE_PERIOD: ReadonlySet<Question> = new Set<Question>(['started', 'day', 'either'])

/** An emergency: the patient is told to call, and a person calls. */
export const alarm = (): Effect[] => [...say('alarm'), follow('alarm')]

/** What is to be arranged for the visit. */
export const need = ({ needs }: Reading): Effect[] => (needs ? [{ do: 'note-need' }, follow('needs')] : [])

/** Alarming, and no emergency by itself: the visit stays, and a clinician calls today. */
function clinicianToday(reading: Reading, { isNear, isPregnant, mayBePutOff }: NumberSituation): Effect[] {
  const { clinical, also = [] } = reading
  if (isPregnant && (clinical === 'bleeding' || clinical === 'symptom')) return alarm()
  const atVisit = isNear && clinical === 'bleeding'
  return [
    ...say(atVisit ? 'come-or-call' : 'clinician-calls'),
    follow(reasonFor(reading)),
    ...(atVisit ? [follow('bleeding-at-visit')] : []),
    ...(also.includes('cannot-come') ? [absent(mayBePutOff)] : []),
  ]
}

/** The patient cannot come, and is not answered with other times. */
export const absent = (mayBePutOff: boolean): Effect => follow(mayBePutOff ? 'cannot-come' : 'nearest-time')

/** What a clinician is called about. */
export function reasonFor({ clinical }: Pick<Reading, 'clinical'>): FollowUpReason {
  if (clinical === 'bleeding') return 'unexpected-bleeding'
  if (clinical === 'late-period') return 'late-period'
  return clinical === 'may-wait' ? 'ask-whether-to-wait' : 'clinician'
}

/** Whether a reply refuses messages, or takes a refusal back. */
export function changesRefusal(reading: Reading): boolean {
  const effects = isAboutTheNumber(reading.meaning) ? decideForNumber(reading) : []
  return effects.some((effect) => effect.do === 'opt-out' || effect.do === 'opt-in')
}

/** What is left of a number's refusal when all its replies are read in order. */
export function refusalAfter(readings: readonly Reading[]): Refusal | null {
  let refused: Refusal | null = null
  for (const reading of readings.filter(({ meaning }) => isAboutTheNumber(meaning))) {
    for (const effect of decideForNumber(reading, { refused })) {
      if (effect.do === 'opt-out') refused = refused === 'wrong-person' ? refused : effect.reason
      if (effect.do === 'opt-in') refused = null
    }
  }
  return refused
}

function byNumber(
  meaning: Exclude<NumberMeaning, 'urgent'>,
  also: readonly Meaning[],
  refused: Refusal | null,
): Effect[] {
  switch (meaning) {
    case 'stop':
      // "Wrong number, stop": whoever has the telephone is not the patient.
      if (also.includes('wrong-person')) return byNumber('wrong-person', [], refused)
      return [{ do: 'opt-out', reason: 'stop' }, ...say('stopped'), ...besideStop(also)]
    case 'wrong-person':
      return [{ do: 'opt-out', reason: 'wrong-person' }, ...say('wrong-person')]
    case 'died':
      return [{ do: 'report-death' }, ...(also.includes('stop') ? byNumber('stop', [], refused) : [])]
    case 'help':
      return say('help')
    case 'rejoin':
      // Whether the number is the patient's after all, only a person can find out.
      return refused === 'wrong-person' ? [follow('unclear-reply')] : [{ do: 'opt-in' }, ...say('rejoined')]
    case 'thanks':
      return []
  }
}

/** What stands beside a STOP reaches a person: whoever wants no messages is not answered. */
function besideStop(also: readonly Meaning[]): Effect[] {
  const reasons = new Set(also.map((each) => REPLY_MEANINGS[each].besideStop))
  // "Cancel" is a carrier word for stopping messages, but may have been meant for the visit.
  if (reasons.has('check-opt-out')) return [follow('check-opt-out')]
  return [...reasons].flatMap((reason) => (reason === null ? [] : [follow(reason)]))
}
