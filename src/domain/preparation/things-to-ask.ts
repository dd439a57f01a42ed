import type { Booking } from '../visits/booking.ts'
import type { DayForecast } from './cycle/history.ts'
import type { FollowUpReason } from '../calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../calls/follow-up-reasons.ts'
import type { ToAsk } from '../calls/reason-to-call.ts'
import type { FullProtocol } from './protocol.ts'
import type { PrepStatus } from './prep-status.ts'

export interface VisitAsHeard {
  booking: Pick<Booking, 'shortNotice' | 'lapses' | 'confirmedAt'>
  protocol: Pick<FullProtocol, 'avoidDays' | 'prepHours'>
  forecast: Pick<DayForecast, 'rating' | 'cycleDay'>
  standing: PrepStatus
  open: readonly FollowUpReason[]
}

/** While it is planned the patient will still be told: nothing to ask yet. */
const NOT_SURELY_TOLD: ReadonlySet<PrepStatus> = new Set(['on-its-way', 'told-late', 'not-reached', 'nobody-tells'])

/**
 * What every patient is asked before the specimen is taken. What a request states: American Society of Cytopathology,
 * collection guideline of 2000 (last period, hysterectomy, pregnant, after a birth, hormones, earlier abnormal result
 * and treatment). Bleeding after sex, between periods or after the menopause wants assessment: Cancer Council
 * Australia. The rest: common practice, no source.
 */
export const ALWAYS_ASK = [
  'Bleeding now? How heavy, since when?',
  'First day of the last period?',
  'Bleeding after sex, between periods, or after the menopause?',
  'Pregnant, or perhaps? A birth or a loss, and when?',
  'Used in the last 48 hours: bought without prescription, and prescribed?',
  'Last specimen, its result, and any treatment since?',
  'Hysterectomy? Is there a cervix?',
  'Hormones? A coil?',
] as const

/** What open calls have asked beside dates, in the order of asking. */
const ASKED_BY_CALLS: Record<Exclude<ToAsk, 'dates'>, string> = {
  bleeding: 'The patient bleeds: how heavy is it? Collect, or not, is for you to decide.',
  words: "The patient's message is unanswered: what did the patient want to know?",
  clinician: "The patient's message waits for a clinician: read it first.",
  eligibility: 'Ask a clinician first whether a specimen is wanted: nobody has decided yet.',
  language: 'Which language does the patient prefer?',
}

/** What to ask this patient besides `ALWAYS_ASK`. */
export function thingsToAsk(visit: VisitAsHeard): string[] {
  const { booking, protocol, standing, open } = visit
  const asked = new Set(open.map((reason) => FOLLOW_UP_REASONS[reason].ask))
  const asks = datesToAsk(visit, asked.has('dates'))
  const { prepHours } = protocol
  if (prepHours > 0 && (NOT_SURELY_TOLD.has(standing) || booking.shortNotice)) {
    asks.push(`What did the patient avoid, since when? (${prepHours} h)`)
  }
  if (booking.lapses.length > 0) {
    asks.push('The lapse in preparation: keep or rebook, as the protocol has it?')
  }
  const byCalls = Object.entries(ASKED_BY_CALLS).filter(([what]) => asked.has(what as ToAsk))
  return [...asks, ...byCalls.map(([, words]) => words)]
}

function datesToAsk({ protocol, forecast }: VisitAsHeard, contradicted: boolean): string[] {
  if (!protocol.avoidDays) return []
  const doubtful = forecast.rating === 'avoid' || forecast.rating === 'unsure'
  if (doubtful) return ['Bleeding today? First day of last period?']
  return forecast.cycleDay === null && contradicted ? ['First day of last period?'] : []
}
