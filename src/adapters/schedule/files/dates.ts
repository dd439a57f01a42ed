import { DateTime } from 'luxon'
import type { Feed, Refusal } from '../../../domain/schedule/feed.ts'
import { CODE, notForUs } from '../read-context.ts'
import type { Column, Table } from './rows.ts'

export type DateOrder = NonNullable<Feed['dateOrder']>

const SLASHED = /^(\d{1,2})([/.-])(\d{1,2})\2(\d{4}|\d{2})(?=$|[ T,])/
const DATED: readonly Column[] = ['date', 'start', 'birthDate', 'lmp', 'dueBy']

/**
 * Which of 03/04 is the day: by a number over 12 in any column of dates, else as the feed says. A file that leaves it
 * open, or says both, is refused: half of its dates would be other days.
 */
export function dateOrderOf({ rows, titles }: Table, { dateOrder }: Feed): DateOrder | null | Refusal {
  const told = DATED.flatMap((column) =>
    rows.map(({ cells, number }) => ({ column, number, parts: SLASHED.exec(cells[column] ?? '') })),
  ).filter(({ parts }) => parts !== null)
  const orders = told.map(({ column, number, parts }) => ({ column, number, order: orderOf(parts!) }))
  const sure = orders.filter(({ order }) => order !== null)
  const [first] = sure
  const contrary = sure.find(({ order }) => order !== (dateOrder ?? first?.order))
  const at = (one: { number: number; column: Column }) => `row ${one.number}, column "${titles[one.column]}"`
  if (contrary)
    return notForUs(
      CODE.value,
      at(contrary),
      'Here day and month stand the other way round than elsewhere: save all dates as YYYY-MM-DD.',
    )
  const order = first?.order ?? dateOrder
  const open = orders.find((one) => one.order === null && !isSame(told[orders.indexOf(one)]!.parts!))
  if (order === null && open)
    return notForUs(
      CODE.value,
      at(open),
      'Nothing in the file says which is the day and which the month: save dates as YYYY-MM-DD, or set the order.',
    )
  return order
}

function orderOf([, a, , b]: RegExpExecArray): DateOrder | null {
  if (Number(a) > 12 && Number(b) <= 12) return 'day-month'
  return Number(b) > 12 && Number(a) <= 12 ? 'month-day' : null
}

/** Either way round it is the same day, or no day at all. */
const isSame = ([, a, , b]: RegExpExecArray) => Number(a) === Number(b) || (Number(a) > 12 && Number(b) > 12)

/** Days since 1899-12-30, as Excel counts on Windows. Five digits: a year alone is none. */
const SERIAL = /^(\d{5})(?:[.,](\d+))?$/
const MINUTES_A_DAY = 1_440

/** Written date, and what follows it: a time of day, or nothing. Null = this is no date. */
export function readDate(
  written: string,
  order: DateOrder | null,
  birth = false,
): { date: string; rest: string } | null {
  const serial = SERIAL.exec(written)
  if (serial) return ofSerial(Number(serial[1]), serial[2])
  const iso = /^(\d{4})[-/]?(\d{2})[-/]?(\d{2})(?=$|[ T])/.exec(written)
  if (iso) return real(`${iso[1]}-${iso[2]}-${iso[3]}`, written.slice(iso[0].length))
  const slashed = SLASHED.exec(written)
  if (slashed) return ofSlashed(slashed, written, order, birth)
  const words = WORDED.map((format) => ({ format, text: written.replaceAll(/[\s-]+/g, ' ') }))
  const worded = words
    .map(({ format, text }) => DateTime.fromFormat(text, format, { locale: 'en' }))
    .find((d) => d.isValid)
  return worded ? { date: worded.toISODate()!, rest: '' } : null
}

const WORDED = ['d MMM yyyy', 'd MMMM yyyy', 'MMM d, yyyy', 'MMMM d, yyyy']

function ofSerial(days: number, part: string | undefined) {
  const minutes = part === undefined ? 0 : Math.round(Number(`0.${part}`) * MINUTES_A_DAY)
  const at = DateTime.utc(1899, 12, 30).plus({ days, minutes })
  return { date: at.toISODate()!, rest: part === undefined ? '' : ` ${at.toFormat('HH:mm')}` }
}

/** Whose birth year has two digits may be a hundred years older: not guessed. */
function ofSlashed(parts: RegExpExecArray, written: string, order: DateOrder | null, birth: boolean) {
  const [whole, a, , b, year] = parts as unknown as [string, string, string, string, string]
  if (birth && year.length === 2) return null
  const [day, month] = order === 'month-day' ? [b, a] : [a, b]
  if (order === null && !isSame(parts)) return null
  const full = year.length === 2 ? `20${year}` : year
  return real(`${full}-${month.padStart(2, '0')}-${day.padStart(2, '0')}`, written.slice(whole.length))
}

function real(date: string, rest: string): { date: string; rest: string } | null {
  return DateTime.fromISO(date).isValid ? { date, rest } : null
}

const CLOCK = /^(\d{1,2})(?:[:.h](\d{2}))?(?:[:.]\d{2})?\s*([ap])?\.?(?:m\.?)?$/i
/** Before this hour nobody is seen: half past one without am or pm is the afternoon's, or a slip. */
const EARLIEST_HOUR = 6

/** A time of day as `HH:MM`; a fault in words otherwise. */
export function readTime(written: string): { time: string } | { fault: string } {
  const fraction = /^0[.,]\d{3,}$/.test(written) ? Number(written.replace(',', '.')) : null
  if (fraction !== null) return { time: ofSerial(0, String(fraction).slice(2)).rest.trim() }
  const [, hours, minutes, half] = CLOCK.exec(written) ?? []
  if (hours === undefined || (minutes === undefined && half === undefined))
    return { fault: 'This is no time of day: write it as 09:00.' }
  const hour = half ? fromHalf(Number(hours), half.toLowerCase()) : Number(hours)
  if (hour === null || hour > 23 || Number(minutes ?? 0) > 59)
    return { fault: 'There is no such time of day: write it as 09:00.' }
  if (!half && hour < EARLIEST_HOUR && hours.length === 1)
    return { fault: 'Morning or afternoon? Write it with am or pm, or as 13:30.' }
  return { time: `${String(hour).padStart(2, '0')}:${minutes ?? '00'}` }
}

function fromHalf(hour: number, half: string): number | null {
  if (hour < 1 || hour > 12) return null
  return (hour % 12) + (half === 'p' ? 12 : 0)
}
