import type { Booking } from '../visits/booking.ts'
import type { DayForecast } from './cycle/history.ts'
import type { FollowUpReason } from '../calls/follow-up.ts'
import type { FullProtocol } from './protocol.ts'
import type { PrepStatus } from './prep-status.ts'

export interface VisitAsHeard {
  booking: Pick<Booking, 'shortNotice' | 'lapses' | 'confirmedAt'>
  protocol: Pick<FullProtocol, 'avoidDays' | 'prepHours'>
  forecast: Pick<DayForecast, 'rating' | 'cycleDay'>
  standing: PrepStatus
  open: readonly FollowUpReason[]
}

/** While it is planned she will still be told: nothing to ask yet. */
const NOT_SURELY_TOLD: ReadonlySet<PrepStatus> = new Set(['on-its-way', 'told-late', 'not-reached', 'nobody-tells'])

/** What to ask one patient before her specimen is taken, in the order of asking; nothing that is known already. */
export function thingsToAsk({ booking, protocol, forecast, standing, open }: VisitAsHeard): string[] {
  const asks: string[] = []
  const doubtful = forecast.rating === 'avoid' || forecast.rating === 'unsure'
  if (protocol.avoidDays && doubtful) asks.push('Bleeding today? First day of last period?')
  else if (protocol.avoidDays && forecast.cycleDay === null && open.includes('contradiction')) asks.push('First day of last period?')
  if (protocol.prepHours > 0 && (NOT_SURELY_TOLD.has(standing) || booking.shortNotice)) asks.push(`What did she avoid, since when? (${protocol.prepHours} h)`)
  if (booking.lapses.length > 0) asks.push('Her lapse: keep or rebook, as the protocol has it?')
  if (open.includes('prep-question') || open.includes('unclear-reply')) asks.push('Her message is unanswered: what did she want to know?')
  if (open.includes('alarm') || open.includes('unexpected-bleeding') || open.includes('late-period')) asks.push('Her message waits for a clinician: read it first.')
  if (open.includes('other-language')) asks.push('Which language does she prefer?')
  return asks
}
