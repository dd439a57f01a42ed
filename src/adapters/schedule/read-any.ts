import type { Feed, MessageRead } from '../../domain/schedule/feed.ts'
import { readFhir, readNdjson } from './fhir/read-fhir.ts'
import { readTable } from './files/read-table.ts'
import { readCalendar } from './icalendar/read-calendar.ts'
import { splitMessages } from './hl7/mllp.ts'
import { readFramed } from './hl7/read-framed.ts'
import { isPacked, sheetOf } from './files/workbook.ts'
import type { ReadContext } from './read-context.ts'

/** As `readAny`, and the first sheet of a workbook too. */
export async function readFileOf(...asked: Parameters<typeof readAny>): Promise<MessageRead[]> {
  const [bytes, , feed, context] = asked
  if (!isPacked(bytes)) return readAny(...asked)
  const sheet = await sheetOf(bytes)
  return typeof sheet === 'string' ? readTable(sheet, feed, context) : [sheet]
}

/**
 * Everything in a file of a schedule, in order, whatever it is in: HL7 v2 messages, FHIR as JSON or NDJSON, a table, a
 * calendar. What it is, is told by how it begins, else by its name.
 * @returns one answer for each message, resource, row or event
 */
export function readAny(bytes: Uint8Array, name: string, feed: Feed, context: ReadContext): MessageRead[] {
  const start = Buffer.from(bytes.subarray(0, 4096))
    .toString('latin1')
    .replace(/^\u00ef\u00bb\u00bf/, '')
    .trimStart()
  if (start.startsWith('\u000b') || /^(?:FHS|BHS|MSH)/.test(start) || /\.hl7$/i.test(name))
    return readHl7(bytes, feed, context)
  if (start.startsWith('{') || start.startsWith('['))
    return readJson(Buffer.from(bytes).toString('utf8'), feed, context)
  if (/^BEGIN:VCALENDAR/i.test(start) || /\.ics$/i.test(name)) return readCalendar(bytes, feed, context)
  return readTable(bytes, feed, context)
}

function readHl7(bytes: Uint8Array, feed: Feed, context: ReadContext): MessageRead[] {
  return splitMessages(bytes).map((framed) => readFramed(framed, feed, context).read)
}

/** One resource or bundle, or one resource a line. */
function readJson(text: string, feed: Feed, context: ReadContext): MessageRead[] {
  try {
    return readFhir(JSON.parse(text), feed, context)
  } catch {
    return readNdjson(text, feed, context)
  }
}
