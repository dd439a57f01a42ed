import type { Feed, MessageRead, Refusal } from '../../../domain/schedule/feed.ts'
import { feedInstant } from '../../../domain/schedule/feed-time.ts'
import type { ToldPatient, ToldVisit } from '../../../domain/schedule/schedule-news.ts'
import { dateIn } from '../../../domain/local-time.ts'
import { CODE, notAPatient, toPerson, zoneAt, type ReadContext } from '../read-context.ts'
import { statusMeaning } from '../statuses.ts'
import { readDate, readTime, type DateOrder } from './dates.ts'
import { SQUEEZED } from './phones.ts'
import type { Column, Row, Table } from './rows.ts'

/** What holds for every row of a file. */
export interface Sheet {
  feed: Feed
  context: ReadContext
  titles: Table['titles']
  order: DateOrder | null
  /** `7 mobile`: numbers that seem to lack a zero. */
  lostZeros: ReadonlySet<string>
}

/** One visit, as a row has it. */
export function readRow(row: Row, sheet: Sheet): MessageRead {
  const { cells } = row
  const place = at(row, sheet)
  if (!cells.id) return toPerson(CODE.missing, place('id'), 'The visit has no number: give every row its own.')
  if (SQUEEZED.test(cells.id))
    return toPerson(CODE.value, place('id'), 'A spreadsheet has shortened the number: save the column as text.')
  const status = cells.status || 'booked'
  // People write words of a table with capitals.
  const event = statusMeaning(status, sheet.feed)
  if (event === undefined)
    return toPerson(CODE.value, place('status'), 'Nobody has said what this status means: add it to the feed.')
  if (event === 'no-booking') return { news: [], doubts: [`${place('status')}: it is no booking yet.`] }
  // A name in one cell may begin with either part.
  const families = cells.name ? cells.name.split(/[\s,]+/) : [cells.family ?? '']
  const test = notAPatient(families, sheet.feed, place(cells.name ? 'name' : 'family'))
  if (test) return test
  const when = startOf(row, sheet)
  if ('ack' in when) return when
  const doubts = [...when.doubts]
  const visit: ToldVisit = { startsAt: when.startsAt, ...visitOf(row, sheet, doubts), status }
  const patient = patientOf(row, sheet, doubts)
  return {
    news: [
      {
        sender: sheet.context.sender,
        // A row has no id of its own: the same row of tomorrow's file may say something else.
        messageId: '',
        event,
        key: { id: cells.id, namespace: sheet.context.base, occurrence: cells.occurrence ?? '' },
        madeAt: null,
        sequence: null,
        visit,
        patient,
        doubts,
      },
    ],
  }
}

/** Where in the file: as whoever mends it sees it. */
export function at({ number }: Row, { titles }: Pick<Sheet, 'titles'>) {
  return (column: Column) => `row ${number}, column "${titles[column] ?? column}"`
}

function startOf(row: Row, sheet: Sheet): { startsAt: Date; doubts: string[] } | Refusal {
  const { cells } = row
  const column = cells.start ? 'start' : 'date'
  const written = cells[column]
  const place = at(row, sheet)
  if (!written) return toPerson(CODE.missing, place(column), 'The visit has no date.')
  if (OFFSET.test(written)) {
    const instant = new Date(written.replace(' ', 'T'))
    if (!Number.isNaN(instant.getTime()) && readDate(written.slice(0, 10), null))
      return { startsAt: instant, doubts: [] }
  }
  const day = readDate(written, sheet.order)
  if (!day) return toPerson(CODE.type, place(column), 'This is no date, or there is none such: write it as 2026-03-20.')
  // Spreadsheets put a midnight behind a date that has a time of its own in another column.
  const rest = day.rest.replace(/^[T ,]+/, '')
  const clock = cells.time || rest
  if (!clock) return toPerson(CODE.missing, place(cells.start ? 'start' : 'time'), 'The visit has no time of day.')
  const time = readTime(clock)
  if ('fault' in time) return toPerson(CODE.type, place(cells.time ? 'time' : column), time.fault)
  const zone = zoneAt(cells.place ? [cells.place] : [], sheet.feed, sheet.context)
  const { at: startsAt, doubt } = feedInstant(`${day.date}T${time.time}:00`, zone)
  return { startsAt, doubts: doubt === null ? [] : [doubt] }
}

const OFFSET = /^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)$/
const LONGEST_MINUTES = 600

function visitOf(row: Row, sheet: Sheet, doubts: string[]): Omit<ToldVisit, 'startsAt' | 'status'> {
  const { cells } = row
  const listed = (value: string | undefined) => (value ? [value] : [])
  const minutes = Number(cells.minutes || NaN)
  const usable = Number.isInteger(minutes) && minutes > 0 && minutes <= LONGEST_MINUTES
  if (cells.minutes && !usable) doubts.push(`${at(row, sheet)('minutes')}: no number of minutes, it was not taken.`)
  const dueBy = dateCell(row, 'dueBy', sheet, doubts)
  const { consent } = sheet.feed
  return {
    ...(usable && { minutes }),
    places: listed(cells.place),
    clinicians: listed(cells.clinician),
    types: listed(cells.type),
    ...(dueBy !== undefined && { dueBy }),
    ...(consent && cells.consent && { consent: consent.yes.includes(cells.consent) }),
  }
}

/** An empty cell tells nothing: what is known stays. */
function patientOf(row: Row, sheet: Sheet, doubts: string[]): ToldPatient {
  const { cells } = row
  const name = cells.name || [cells.given, cells.family].filter(Boolean).join(' ')
  const phones = phonesOf(row, sheet, doubts)
  const birthDate = dateCell(row, 'birthDate', sheet, doubts)
  const lmp = dateCell(row, 'lmp', sheet, doubts)
  const today = dateIn(sheet.context.now, sheet.feed.zone)
  const early = lmp !== undefined && lmp <= today
  if (lmp !== undefined && !early)
    doubts.push(`${at(row, sheet)('lmp')}: a day that is still to come, it was not taken.`)
  return {
    ids: cells.patientId ? [{ value: cells.patientId, ...sheet.feed.patientId }] : [],
    ...(name && { name }),
    ...(phones.length > 0 && { phones }),
    ...(cells.email && { email: cells.email }),
    ...(birthDate !== undefined && { birthDate }),
    ...(cells.language && { language: cells.language }),
    ...(early && { lmp: { day: lmp, toldOn: null } }),
  }
}

function phonesOf(row: Row, sheet: Sheet, doubts: string[]) {
  const kinds = [
    ['mobile', 'mobile'],
    ['phone', 'unknown'],
  ] as const
  return kinds.flatMap(([column, kind]) => {
    const number = row.cells[column]
    if (!number) return []
    const place = at(row, sheet)(column)
    if (SQUEEZED.test(number)) {
      doubts.push(`${place}: a spreadsheet has shortened the number, it was not taken.`)
      return []
    }
    if (sheet.lostZeros.has(`${row.number} ${column}`))
      doubts.push(`${place}: the number seems to have lost its leading zero.`)
    return [{ number, kind }]
  })
}

function dateCell(row: Row, column: 'birthDate' | 'lmp' | 'dueBy', sheet: Sheet, doubts: string[]): string | undefined {
  const written = row.cells[column]
  if (!written) return undefined
  const read = readDate(written, sheet.order, column === 'birthDate')
  if (!read) doubts.push(`${at(row, sheet)(column)}: no whole date, it was not taken.`)
  return read?.date
}
