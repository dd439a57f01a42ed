import type { CalendarDate, CycleHistory } from '../preparation/cycle/history.ts'
import { daysBetween } from '../preparation/cycle/days.ts'
import { heardEnded, heardNotStarted, heardStart, heardStillBleeding } from '../preparation/cycle/hear.ts'
import type { FollowUpReason } from '../calls/follow-up.ts'
import type { TextKind } from '../messages/texts/kinds.ts'
import type { OfferReason } from '../visits/offer.ts'
import { isMoreThanAPeriod } from './bleeding.ts'
import type { Meaning, Reading } from './reading.ts'

/** What a reply leads to, as data. A flow carries it out in one transaction. */
export type Effect =
  | { do: 'opt-out'; reason: 'stop' | 'wrong-person' }
  | { do: 'report-death' }
  | { do: 'opt-in' }
  | { do: 'say'; kind: TextKind; topic?: string }
  | { do: 'follow-up'; reason: FollowUpReason; detail?: Record<string, unknown> }
  | { do: 'learn'; history: CycleHistory }
  | { do: 'confirm' }
  | { do: 'note-lapse' }
  /** Offer better openings, or have the desk do it where there are none. `reason` says what the desk is then told. */
  | { do: 'offer'; reason: OfferReason }
  | { do: 'accept'; choice: number }

/** What is known when one visit is being talked about. */
export interface Situation {
  reading: Reading
  history: CycleHistory
  /** The day on which it was written, in the patient's zone: what the reply says of "today". */
  today: CalendarDate
  /** An offer waits for a number. */
  offerOpen: boolean
  /** Other times were offered, or one was chosen, because the patient cannot come: whatever the dates say, the visit must move. */
  mustMove: boolean
  lapsePolicy: 'offer' | 'desk-decides'
  /** Topics the protocol has an approved answer for. */
  topics: readonly string[]
  /** Whether the visit may stay where it is, by this history. */
  keeps(history: CycleHistory): boolean
}

/** Days after which a period that has not come is for a clinician to ask about. Our own limit; FIGO 2018 calls over 38 days infrequent. */
const LATE_AFTER_DAYS = 45

/** Meanings that need no visit to be understood. They come before everything else. */
const ABOUT_THE_NUMBER: readonly Meaning[] = ['died', 'stop', 'wrong-person', 'help', 'rejoin', 'urgent', 'thanks']

export function isAboutTheNumber(meaning: Meaning): boolean {
  return ABOUT_THE_NUMBER.includes(meaning)
}

/** Why a number wants no messages: somebody there said so, or that the patient is somebody else. */
export type Refusal = 'stop' | 'wrong-person'

/**
 * What to do about a reply that concerns the number, not one visit. An alarm beside anything else is never overlooked.
 * @param refused what the number has refused before
 */
export function decideForNumber(reading: Reading, refused: Refusal | null = null): Effect[] {
  const { meaning, also, clinical } = reading
  const effects = byNumber(reading, refused)
  // Whoever tells of a death is not told to call an emergency number. The call about an alarm carries all words.
  if (meaning === 'died' || meaning === 'urgent') return effects
  if (clinical !== undefined) effects.push(follow(clinical === 'bleeding' ? 'unexpected-bleeding' : 'clinician'))
  return also?.includes('urgent') ? [...effects, { do: 'say', kind: 'alarm' }, follow('alarm')] : effects
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
    for (const effect of decideForNumber(reading, refused)) {
      if (effect.do === 'opt-out') refused = refused === 'wrong-person' ? refused : effect.reason
      if (effect.do === 'opt-in') refused = null
    }
  }
  return refused
}

function byNumber({ meaning, also = [] }: Pick<Reading, 'meaning' | 'also'>, refused: Refusal | null): Effect[] {
  switch (meaning) {
    case 'stop':
      // "Wrong number, stop": whoever has the telephone is not the patient.
      if (also.includes('wrong-person')) return byNumber({ meaning: 'wrong-person' }, refused)
      return [{ do: 'opt-out', reason: 'stop' }, { do: 'say', kind: 'stopped' }, ...newsBeside(also)]
    case 'wrong-person':
      return [{ do: 'opt-out', reason: 'wrong-person' }, { do: 'say', kind: 'wrong-person' }]
    case 'died':
      return [{ do: 'report-death' }, ...(also.includes('stop') ? byNumber({ meaning: 'stop' }, refused) : [])]
    case 'help':
      return [{ do: 'say', kind: 'help' }]
    case 'rejoin':
      // Whether the number is the patient's after all, only a person can find out.
      if (refused === 'wrong-person') return [follow('unclear-reply')]
      return [{ do: 'opt-in' }, { do: 'say', kind: 'rejoined' }]
    case 'urgent':
      return [{ do: 'say', kind: 'alarm' }, follow('alarm')]
    default:
      return []
  }
}

/** Courtesies, and what has a call of its own. */
const NO_NEWS: ReadonlySet<Meaning> = new Set(['stop', 'thanks', 'urgent'])

/** What stands beside a STOP reaches a person: whoever wants no messages is not answered. */
function newsBeside(also: readonly Meaning[]): Effect[] {
  // "Cancel" is a carrier word for stopping messages, but may have been meant for the visit.
  if (also.includes('cannot-come')) return [follow('check-opt-out')]
  return also.some((each) => !NO_NEWS.has(each)) ? [follow('unclear-reply')] : []
}

/** What to do about a reply that concerns one visit. The first `say` or `offer` is her answer; there is only ever one. */
export function decideForVisit(situation: Situation): Effect[] {
  const { reading, history, today } = situation
  if (isMoreThanAPeriod(reading, history, today)) return forClinician(reading)
  const effects = [...(clinical(situation) ?? byMeaning(situation)), ...besides(reading)]
  // "Started this morning, so Friday won't work": whatever her dates say, the visit must move.
  const wantsMove = reading.also?.includes('cannot-come') && !effects.some((effect) => effect.do === 'offer' || effect.do === 'accept')
  return wantsMove ? [...effects.filter((effect) => effect.do !== 'say'), { do: 'offer', reason: 'cannot-come' }] : effects
}

/** Nothing is learned from it and no other time is offered: a clinician hears of it today, and the visit stays. */
function forClinician({ meaning, also = [], startedOn }: Reading): Effect[] {
  const comes = meaning === 'confirm' || also.includes('confirm')
  const detail = startedOn === undefined ? {} : { startedOn }
  return [...(comes ? [{ do: 'confirm' } as const] : []), ...say('unclear'), follow('unexpected-bleeding', detail)]
}

/** What a clinician is told, where the reply says nothing else. Prescribed medicine goes on, and is no lapse. */
function clinical({ reading, topics }: Situation): Effect[] | undefined {
  if (reading.clinical === undefined || reading.meaning !== 'unclear') return undefined
  const keepTaking = reading.clinical === 'prescribed' && topics.includes(PRESCRIPTION)
  return [...(keepTaking ? [{ do: 'say', kind: 'answer', topic: PRESCRIPTION } as const] : say('unclear')), follow('clinician')]
}

const PRESCRIPTION = 'prescription'

/** What a second meaning adds, without a text of its own: "yes but I used a cream" confirms, and tells of a lapse. */
function besides({ meaning, also = [], clinical }: Reading): Effect[] {
  const second = (each: Meaning) => meaning !== each && also.includes(each)
  return [
    ...(second('confirm') ? [{ do: 'confirm' } as const] : []),
    ...(second('prep-lapse') ? [{ do: 'note-lapse' } as const, follow('lapse')] : []),
    ...(second('prep-question') ? [follow('prep-question')] : []),
    ...(clinical !== undefined && meaning !== 'unclear' ? [follow('clinician')] : []),
  ]
}

function byMeaning(situation: Situation): Effect[] {
  const { reading, history, today, topics } = situation
  switch (reading.meaning) {
    case 'period-started':
      // "Last week" starts a period, but no forecast: she is asked for the day, and a person sees to it if she does not say.
      if (reading.startedOn === undefined) return [...say('lmp-question'), follow('unclear-reply')]
      return learned(situation, heardStart(history, reading.startedOn, today))
    case 'not-started':
      return notStarted(situation)
    case 'still-bleeding':
      return learned(situation, heardStillBleeding(history, today))
    case 'bleeding-ended':
      return learned(situation, heardEnded(history, reading.endedOn ?? today))
    case 'confirm':
      return [{ do: 'confirm' }]
    case 'cannot-come':
      return [{ do: 'offer', reason: 'cannot-come' }]
    case 'choice':
      return situation.offerOpen && reading.choice ? [{ do: 'accept', choice: reading.choice }] : unclear()
    case 'prep-question':
      return reading.topic && topics.includes(reading.topic) ? [{ do: 'say', kind: 'answer', topic: reading.topic }] : [...say('unclear'), follow('prep-question')]
    case 'prep-lapse':
      return lapse(situation)
    default:
      return unclear()
  }
}

/** New dates: keep the visit and say so, or offer better times. Dates that contradict the record go to a person. */
function learned({ keeps, mustMove }: Situation, heard: { history: CycleHistory; contradiction?: string }): Effect[] {
  if (heard.contradiction) return [...say('unclear'), follow('contradiction', { why: heard.contradiction })]
  const learn: Effect = { do: 'learn', history: heard.history }
  if (mustMove) return [learn, { do: 'offer', reason: 'cannot-come' }]
  return keeps(heard.history) ? [learn, ...say('no-change')] : [learn, { do: 'offer', reason: 'no-opening' }]
}

function notStarted(situation: Situation): Effect[] {
  const { history, today } = situation
  // "No" to a question that was none for this patient.
  if (history.status === 'no-periods') return unclear()
  const late = history.lmp !== undefined && daysBetween(history.lmp, today) > LATE_AFTER_DAYS
  if (!late) return learned(situation, heardNotStarted(history, today))
  return [{ do: 'learn', history: heardNotStarted(history, today).history }, ...say('cannot-offer'), follow('late-period')]
}

function lapse({ lapsePolicy }: Situation): Effect[] {
  const noted: Effect[] = [{ do: 'note-lapse' }, follow('lapse')]
  return lapsePolicy === 'offer' ? [...noted, { do: 'offer', reason: 'no-opening' }] : [...noted, ...say('lapse')]
}

function unclear(): Effect[] {
  return [...say('unclear'), follow('unclear-reply')]
}

function say(kind: TextKind): Effect[] {
  return [{ do: 'say', kind }]
}

function follow(reason: FollowUpReason, detail?: Record<string, unknown>): Effect {
  return { do: 'follow-up', reason, ...(detail && { detail }) }
}
