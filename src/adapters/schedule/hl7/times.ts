import { feedInstant, isLocalTime, offsetAt } from '../../../domain/schedule/feed-time.ts'

/** How much of a time was told. */
export type Precision = 'year' | 'month' | 'day' | 'hour' | 'minute' | 'second'

/** HL7 DTM (ch. 2.A.22), the TS of earlier versions. What was not told is 01 or 00 in `local`. */
export interface Dtm {
  precision: Precision
  /** `YYYY-MM-DDTHH:MM:SS` on the clock that the sender looked at. */
  local: string
  /** Minutes ahead of UTC; null = not told. */
  offset: number | null
}

const WRITTEN =
  /^(\d{4})(?:(\d{2})(?:(\d{2})(?:(\d{2})(?:(\d{2})(?:(\d{2})(?:\.\d{1,4})?)?)?)?)?)?(?:([+-])(\d{2})(\d{2}))?$/
const PRECISIONS: readonly Precision[] = ['year', 'month', 'day', 'hour', 'minute', 'second']
/** Pacific/Kiritimati. */
const FARTHEST = 14 * 60

/** `YYYY[MM[DD[HH[MM[SS[.S…]]]]]][+/-ZZZZ]`; null where it is not written so, or there is no such time. */
export function readDtm(written: string): Dtm | null {
  const found = WRITTEN.exec(written)
  if (found === null) return null
  const told = found.slice(1, 7).filter((part) => part !== undefined)
  const [year, month = '01', day = '01', hour = '00', minute = '00', second = '00'] = told
  const local = `${year}-${month}-${day}T${hour}:${minute}:${second}`
  const offset = offsetOf(found[7], found[8], found[9])
  if (!isLocalTime(local) || Math.abs(offset ?? 0) > FARTHEST) return null
  return { precision: PRECISIONS[told.length - 1]!, local, offset }
}

function offsetOf(sign: string | undefined, hours = '', minutes = ''): number | null {
  if (sign === undefined) return null
  if (Number(minutes) > 59) return Infinity
  const ahead = Number(hours) * 60 + Number(minutes)
  return sign === '-' ? 0 - ahead : ahead
}

/** The calendar date, as it was written; null where no day was told. */
export function dayOf(dtm: Dtm): string | null {
  return dtm.precision === 'year' || dtm.precision === 'month' ? null : dtm.local.slice(0, 10)
}

/** Whether a time of day was told to the minute: an hour alone is more likely a slip. */
export function isExact({ precision }: Dtm): boolean {
  return precision === 'minute' || precision === 'second'
}

/** The instant: by its own offset, else on the clocks of the zone. */
export function instantOf(dtm: Dtm, zone: string): { at: Date; doubt: string | null } {
  if (dtm.offset === null) return feedInstant(dtm.local, zone)
  return { at: new Date(feedInstant(dtm.local, 'UTC').at.getTime() - dtm.offset * 60_000), doubt: null }
}

/**
 * Whether the sender's own clock (MSH-7) contradicts the zone. Its offset is that of the day on which it was sent, and
 * may be an hour wrong for a visit beyond a change of the clocks: it never decides, it only shows a wrong zone.
 */
export function zoneDoubt(made: Dtm | null, zone: string): string | null {
  if (made === null || made.offset === null || !isExact(made)) return null
  return offsetAt(instantOf(made, zone).at, zone) === made.offset
    ? null
    : `MSH-7 has another offset than ${zone} has at that instant: perhaps the zone is described wrongly.`
}
