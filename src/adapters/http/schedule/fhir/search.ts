import { DateTime } from 'luxon'
import * as z from 'zod'
import { badInput } from '../../../../domain/failure.ts'

/** Values of FHIR's search parameters (R4 search.html), as far as they are taken. */

const PREFIXED = /^(eq|ge|gt|le|lt)?(\d{4}(?:-\d\d(?:-\d\d(?:T\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d)?)?)?)?)$/
const one = z.string().max(200)

/** One value or two, as `date=ge…&date=lt…`. */
export const dates = z.union([one, z.array(one).max(2)]).optional()
export const location = one.optional().describe('A clinic, by its id or as `Location/id`.')
export const count = (most: number, usual: number) =>
  z
    .string()
    .regex(/^\d{1,6}$/, 'Give a whole number.')
    .transform((written) => Math.min(most, Math.max(1, Number(written))))
    .prefault(String(usual))
/** The only format. */
export const format = z.enum(['json', 'application/json', 'application/fhir+json']).optional()

export interface Interval {
  from?: Date
  to?: Date
}

/**
 * The instants that dates ask for, half open. A date is the whole of its day, month or year, in this zone.
 * @throws bad-input
 */
export function intervalOf(written: string | readonly string[] | undefined, zone: string, field: string): Interval {
  const all = [written ?? []].flat().map((each) => boundsOf(each, zone, field))
  const [from] = all.flatMap((each) => each.from ?? []).toSorted((a, b) => b.getTime() - a.getTime())
  const [to] = all.flatMap((each) => each.to ?? []).toSorted((a, b) => a.getTime() - b.getTime())
  return { ...(from && { from }), ...(to && { to }) }
}

function boundsOf(written: string, zone: string, field: string): Interval {
  const [, prefix = 'eq', date] = PREFIXED.exec(written) ?? badInput(field, BAD_DATE)
  const start = DateTime.fromISO(date!, { zone })
  if (!start.isValid) badInput(field, BAD_DATE)
  const from = start.toJSDate()
  const to = start.plus(lengthOf(date!)).toJSDate()
  const bounds: Record<string, Interval> = {
    ...{ eq: { from, to }, ge: { from }, gt: { from: to }, lt: { to: from }, le: { to } },
  }
  return bounds[prefix]!
}

const BAD_DATE =
  'Write a date as 2026-03-20 or 2026-03-20T09:00:00-03:00, with eq, ge, gt, le or lt before it, at most twice.'

/** What is not said is open: a day without a time is a whole day. */
function lengthOf(date: string) {
  if (date.length === 4) return { years: 1 }
  if (date.length === 7) return { months: 1 }
  if (date.length === 10) return { days: 1 }
  return /T\d\d:\d\d:\d\d\.\d/.test(date)
    ? { milliseconds: 1 }
    : /T\d\d:\d\d:\d\d/.test(date)
      ? { seconds: 1 }
      : { minutes: 1 }
}

/** Codes by commas; undefined = all. @throws bad-input */
export function codesIn<C extends string>(
  written: string | undefined,
  known: readonly C[],
  field: string,
): C[] | undefined {
  return written?.split(',').map((code) => {
    const [found] = known.filter((each) => each === code)
    return found ?? badInput(field, `Known here: ${known.join(', ')}.`)
  })
}

/** Where the next page begins: opaque. */
export const writeCursor = (at: Date, ids: readonly string[]): string =>
  Buffer.from(`${at.toISOString()}|${ids.join()}`).toString('base64url')

/** @throws bad-input */
export function readCursor(cursor: string): { at: Date; ids: string[] } {
  const [instant = '', ids] = Buffer.from(cursor, 'base64url').toString().split('|')
  const at = new Date(instant)
  if (Number.isNaN(at.getTime()) || !ids) badInput('_cursor', 'Use link.next of the page before, unchanged.')
  return { at, ids: ids.split(',') }
}
