import { daysBetween } from '../preparation/cycle/days.ts'
import { LATE_AFTER_DAYS } from '../preparation/cycle/check-history.ts'
import {
  heardEnded,
  heardNoPeriods,
  heardNotStarted,
  heardStart,
  heardStillBleeding,
  type UpdatedCycle,
} from '../preparation/cycle/hear.ts'
import type { Noted } from '../messages/texts/kinds.ts'
import { mayHavePeriod } from '../preparation/cycle/no-cycle.ts'
import { isMoreThanAPeriod, tellsOfBlood } from './bleeding.ts'
import { absent, alarm, need, reasonFor } from './decide-for-number.ts'
import { follow, say, type Effect } from './effects.ts'
import type { Situation } from './situation.ts'
import { isAboutTheNumber, type Meaning, type Reading, type VisitMeaning } from './reading.ts'
import { byPrecedence } from './told.ts'

/**
 * What to do about a reply that concerns one visit. The first `say` or `offer` is the answer; there is only ever one.
 */
export function decideForVisit(situation: Situation): Effect[] {
  const { reading, history, today } = situation
  const isMore = isMoreThanAPeriod(reading, history, today)
  if (situation.isPregnant && (isMore || tellsOfBlood(reading))) return [...alarm(), ...need(reading)]
  if (isMore) return [...forClinician(situation), ...need(reading)]
  if (bleedsAtTheVisit(situation)) return atTheVisit(situation)
  const effects = [...(clinical(situation) ?? byMeaning(situation)), ...besides(reading, others(reading))]
  if (reading.also?.includes('where') && !effects.some(isAnswer)) effects.push(...where(situation))
  // "Started this morning, so Friday won't work": whatever the dates say, the visit must move.
  const wantsMove =
    reading.also?.includes('cannot-come') && !effects.some((effect) => effect.do === 'offer' || effect.do === 'accept')
  return wantsMove
    ? [
        ...effects.filter((effect) => effect.do !== 'say' || effect.noted !== undefined),
        { do: 'offer', reason: 'cannot-come' },
      ]
    : effects
}

const isAnswer = (effect: Effect) => effect.do === 'say' || effect.do === 'offer' || effect.do === 'accept'

/** Nothing is learned from it and no other time is offered: a clinician hears of it today, and the visit stays. */
function forClinician({ reading, isNear, mayBePutOff }: Situation): Effect[] {
  const { meaning, also = [], startedOn } = reading
  const comes = meaning === 'confirm' || also.includes('confirm')
  const detail = startedOn === undefined ? {} : { startedOn }
  return [
    ...(comes ? [{ do: 'confirm' } as const] : []),
    ...say(isNear ? 'come-or-call' : 'clinician-calls'),
    follow('unexpected-bleeding', detail),
    ...(isNear ? [follow('bleeding-at-visit')] : []),
    ...(also.includes('cannot-come') ? [absent(mayBePutOff)] : []),
  ]
}

/** Bleeding on the day of the visit, or the day before: too late to be answered with other times. */
function bleedsAtTheVisit({ reading, history, today, isNear, isBadly }: Situation): boolean {
  if (!isNear) return false
  if (reading.meaning === 'unclear') return reading.ofBlood === true && reading.clinical === undefined
  const told: Meaning[] = [reading.meaning, ...(reading.also ?? [])]
  if (told.includes('still-bleeding')) return true
  if (!told.includes('period-started')) return false
  return reading.startedOn === undefined || isBadly(heardStart(history, reading.startedOn, today).history)
}

/**
 * Light bleeding is no reason to stay away: the Irish programme ("light spotting is okay"), Health NZ ("as long as the
 * bleeding is not too heavy"). How heavy it is a person asks, a clinician decides, and no text calls the visit off.
 */
function atTheVisit({ reading, history, today, mayBePutOff }: Situation): Effect[] {
  const { meaning, startedOn, also = [] } = reading
  const told: Meaning[] = [meaning, ...also]
  const heard =
    startedOn !== undefined
      ? heardStart(history, startedOn, today)
      : told.includes('still-bleeding') && heardStillBleeding(history, today)
  const learned: Effect[] = heard && !heard.contradiction ? [{ do: 'learn', history: heard.history }] : []
  const cannot = told.includes('cannot-come') ? [absent(mayBePutOff)] : []
  return [...learned, ...say('come-or-call'), follow('bleeding-at-visit'), ...cannot, ...besides(reading, told)]
}

/** What a clinician is told, where the reply says nothing else. Prescribed medicine goes on, and is no lapse. */
function clinical({ reading, topics }: Situation): Effect[] | undefined {
  if (reading.meaning !== 'unclear') return undefined
  if (reading.clinical === undefined) return reading.needs && say('unclear')
  const keepTaking = reading.clinical === 'prescribed' && topics.includes(PRESCRIPTION)
  return [
    ...(keepTaking ? [{ do: 'say', kind: 'answer', topic: PRESCRIPTION } as const] : say('clinician-calls')),
    follow(reasonFor(reading)),
  ]
}

const PRESCRIPTION = 'prescription'

const others = ({ meaning, also = [] }: Reading) => also.filter((each) => each !== meaning)

/** What further meanings add, without a text of their own: "yes but I used a cream" confirms, and tells of a lapse. */
function besides(reading: Reading, told: readonly Meaning[]): Effect[] {
  const { meaning, clinical } = reading
  const further = [...new Set(told)].sort(byPrecedence)
  const added = further.flatMap((each) => (isAboutTheNumber(each) ? [] : beside(each)))
  return [
    ...added.filter((effect) => effect.do === 'confirm'),
    ...added.filter((effect) => effect.do !== 'confirm'),
    ...(clinical !== undefined && meaning !== 'unclear' ? [follow(reasonFor(reading))] : []),
    ...need(reading),
  ]
}

function beside(meaning: VisitMeaning): Effect[] {
  switch (meaning) {
    case 'confirm':
      return [{ do: 'confirm' }]
    case 'prep-lapse':
      return [{ do: 'note-lapse' }, follow('lapse')]
    case 'prep-question':
      return [follow('prep-question')]
    // It moves the visit, whatever else follows: see `decideForVisit`.
    case 'cannot-come':
    // What only informs, or contradicts what came before it.
    case 'period-started':
    case 'not-started':
    case 'still-bleeding':
    case 'bleeding-ended':
    case 'choice':
    case 'unclear':
    // Answered beside what has no answer of its own: see `decideForVisit`.
    case 'where':
    // It takes back what stood before it, and is written by itself.
    case 'undo':
      return []
    case 'no-cycle':
      return [follow('clinician')]
  }
}

function byMeaning(situation: Situation): Effect[] {
  const { meaning } = situation.reading
  return isAboutTheNumber(meaning) ? unclear() : byVisit(meaning, situation)
}

function byVisit(meaning: VisitMeaning, situation: Situation): Effect[] {
  const { reading, history, today, topics } = situation
  switch (meaning) {
    case 'period-started':
      // "Last week" starts a period, but no forecast: the patient is asked for the day, once, and a person sees to it.
      if (reading.startedOn === undefined)
        return situation.askedForDay ? unclear() : [...say('lmp-question'), follow('unclear-reply')]
      return learned(situation, heardStart(history, reading.startedOn, today), {
        heard: 'started',
        on: reading.startedOn,
      })
    case 'not-started':
      return notStarted(situation)
    case 'still-bleeding':
      return learned(situation, heardStillBleeding(history, today), { heard: 'bleeding', on: today })
    case 'bleeding-ended':
      return learned(situation, heardEnded(history, reading.endedOn ?? today), {
        heard: 'ended',
        on: reading.endedOn ?? today,
      })
    case 'confirm':
      return [{ do: 'confirm' }]
    case 'cannot-come':
      return [{ do: 'offer', reason: 'cannot-come' }]
    case 'choice':
      return situation.offerOpen && reading.choice ? [{ do: 'accept', choice: reading.choice }] : unclear()
    case 'prep-question':
      return reading.topic && topics.includes(reading.topic)
        ? [{ do: 'say', kind: 'answer', topic: reading.topic }]
        : [...say('unclear'), follow('prep-question')]
    case 'undo':
      return situation.mayUndo ? [{ do: 'undo' }] : unclear()
    case 'no-cycle':
      return noCycle(situation)
    case 'where':
      return where(situation)
    case 'prep-lapse':
      return lapse(situation)
    case 'unclear':
      return unclear()
  }
}

/**
 * New dates: say what was noted, and keep the visit or offer better times. Dates that contradict the record go to a
 * person.
 */
function learned(situation: Situation, heard: UpdatedCycle, news: Omit<Noted, 'stays'>): Effect[] {
  const { keeps, mustMove, mayBePutOff, isBadly } = situation
  if (heard.contradiction) return [...say('unclear'), follow('contradiction', { why: heard.contradiction })]
  const learn = (noted: Noted): Effect[] => [
    { do: 'learn', history: heard.history },
    { do: 'say', kind: 'no-change', noted },
  ]
  const learnOnly = learn({ ...news, stays: false })
  if (mustMove) return [...learnOnly, { do: 'offer', reason: 'cannot-come' }]
  if (!keeps(heard.history)) return [...learnOnly, { do: 'offer', reason: 'no-opening' }]
  const stays = !mayBePutOff && isBadly(heard.history) ? [follow('not-to-be-put-off')] : []
  return [...learn({ ...news, stays: true }), ...stays]
}

function notStarted(situation: Situation): Effect[] {
  const { history, today } = situation
  // "No" to a question that was none for this patient.
  if (!mayHavePeriod(history)) return unclear()
  const late = history.lmp !== undefined && daysBetween(history.lmp, today) >= LATE_AFTER_DAYS
  if (!late) return learned(situation, heardNotStarted(history, today), { heard: 'not-started', on: today })
  return [
    { do: 'learn', history: heardNotStarted(history, today).history },
    ...say('clinician-calls'),
    follow('late-period'),
  ]
}

/** Days play no part from now on. Whether the visit is needed, and by which protocol, a clinician decides. */
function noCycle({ history }: Situation): Effect[] {
  const after = heardNoPeriods(history)
  return [
    ...(after === history ? [] : [{ do: 'learn', history: after } as const]),
    ...say('clinician-calls'),
    follow('clinician'),
  ]
}

/** The topic of an answer that the clinic gives of itself. */
export const PLACE = 'place'

/** In the clinic's own words; where it has set none, a person answers. */
function where({ hasPlace }: Situation): Effect[] {
  return hasPlace ? [{ do: 'say', kind: 'answer', topic: PLACE }] : unclear()
}

function lapse({ lapsePolicy, mayBePutOff }: Situation): Effect[] {
  const noted: Effect[] = [{ do: 'note-lapse' }, follow('lapse')]
  return lapsePolicy === 'offer' && mayBePutOff
    ? [...noted, { do: 'offer', reason: 'no-opening' }]
    : [...noted, ...say('lapse')]
}

function unclear(): Effect[] {
  return [...say('unclear'), follow('unclear-reply')]
}
