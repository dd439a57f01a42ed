import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { cardOf, notOnCards } from '../../../domain/calls/alike.ts'
import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import { namesDates } from '../../../domain/calls/words-to-say.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import { goodDates } from '../../../domain/preparation/cycle/good-dates.ts'
import { protocolOf } from '../../../flows/lookups.ts'
import { grouped } from '../desk/grouped.ts'
import type { PageContext } from '../desk/page-context.ts'
import { subjectsOf, type CallSubject } from './call-subjects.ts'

/** As many are looked for; the cards of their patients hold whatever else these are called about. */
const MOST_SHOWN = 60
const MOST_BESIDES = 300
/** Dates looked for when the patient is called. */
const AHEAD = { first: 3, last: 42 }

/** A call as the list shows it. */
export interface Call extends CallSubject {
  /** Runs of good dates, where the visit should move. */
  dates: { from: string; to: string }[]
}

/** Everything that one patient is called about, by harm; never none. */
export type Card = [Call, ...Call[]]

/** The cards of the call list: alarms first, then the most urgent and the oldest. */
export async function cardsOf(sheet: PageContext): Promise<Card[]> {
  const { followUps } = sheet.deps.store.read
  const but = notOnCards(sheet.calls.together)
  const all = { clinicId: sheet.clinic.id, unplacedToo: true, open: true, limit: MOST_SHOWN }
  // Whatever else is urgent: an alarm stands above it, and is never beyond the end of the list.
  const [alarms, others] = await Promise.all([
    followUps.list({ ...all, reasons: ['alarm'] }),
    followUps.list({ ...all, butReasons: ['alarm', ...but] }),
  ])
  const shown = [...alarms, ...others]
  const patientIds = [...new Set(shown.flatMap(({ patientId }) => patientId ?? []))]
  const besides = await followUps.list({ ...all, patientIds, butReasons: but, limit: MOST_BESIDES })
  const known = new Set(shown.map(({ id }) => id))
  const calls = await callsOf(sheet, [...shown, ...besides.filter(({ id }) => !known.has(id))])
  return [...grouped(calls, ({ followUp }) => cardOf(followUp)).values()] as Card[]
}

export async function callsOf(
  sheet: Pick<PageContext, 'deps' | 'now'>,
  followUps: readonly FollowUp[],
): Promise<Call[]> {
  return (await subjectsOf(sheet, followUps)).map((subject) => {
    const { followUp, patient, booking } = subject
    return {
      ...subject,
      dates: patient && booking && namesDates(followUp.reason) ? datesFor(sheet, booking, patient) : [],
    }
  })
}

function datesFor(
  { deps, now }: Pick<PageContext, 'deps' | 'now'>,
  booking: Booking,
  { cycle }: Patient,
): Call['dates'] {
  if (!deps.protocols.has(booking.protocol)) return []
  const today = dateIn(now, booking.zone)
  return goodDates(
    cycle,
    { from: addDays(today, AHEAD.first), to: addDays(today, AHEAD.last) },
    protocolOf(deps, booking.protocol),
    today,
  ).slice(0, 3)
}
