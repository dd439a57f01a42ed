import { inZone } from '../local-time.ts'

/**
 * At most one unsolicited message a local calendar day and three in any seven consecutive local days, text and voice
 * together: the frequency limits of 47 CFR 64.1200(a)(9)(iv) for health care, kept as policy. The week is rolling,
 * the stricter of the two readings.
 */
export const CAPS = { aDay: 1, aWeek: 3 } as const

/** Number of a local day, so that consecutive days differ by one whatever the clocks do. */
function dayNumber(at: Date, zone: string): number {
  const { year, month, day } = inZone(at, zone)
  return Math.round(Date.UTC(year, month - 1, day) / 86_400_000)
}

/**
 * Whether one more unsolicited message at `at` keeps within the caps.
 * @param others instants of the patient's other unsolicited messages, past and planned, any order.
 */
export function withinCaps(at: Date, others: readonly Date[], zone: string): boolean {
  if (others.length === 0) return true
  const day = dayNumber(at, zone)
  const days = others.map((other) => dayNumber(other, zone))
  if (days.filter((other) => other === day).length >= CAPS.aDay) return false
  // Every window of seven days that would hold the new message.
  return [0, 1, 2, 3, 4, 5, 6].every((back) => {
    const first = day - back
    return days.filter((other) => other >= first && other < first + 7).length < CAPS.aWeek
  })
}
