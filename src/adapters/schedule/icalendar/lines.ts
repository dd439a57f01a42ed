import type { Feed } from '../../../domain/schedule/feed.ts'
import { decode } from '../decode.ts'

/** A content line of RFC 5545 §3.1: names in capitals, the value as it was written. */
export interface Line {
  name: string
  params: Readonly<Record<string, string>>
  value: string
}

const [CR, LF, SPACE, TAB] = [0x0d, 0x0a, 0x20, 0x09]

/** Unfolded octet by octet before it is decoded: a fold may stand within a letter (§3.1). */
export function linesOf(file: string | Uint8Array, feed: Feed): Line[] {
  const bytes = typeof file === 'string' ? new TextEncoder().encode(file) : file
  const text = decode(unfolded(bytes), feed).replace(/^\ufeff/, '')
  return text.split(/\r?\n/).flatMap((written) => lineOf(written) ?? [])
}

function unfolded(bytes: Uint8Array): Uint8Array {
  const kept = new Uint8Array(bytes.length)
  let length = 0
  for (let at = 0; at < bytes.length; at++) {
    const isBreak = bytes[at] === CR && bytes[at + 1] === LF
    const next = isBreak ? at + 2 : at + 1
    if ((isBreak || bytes[at] === LF) && (bytes[next] === SPACE || bytes[next] === TAB)) at = next
    else kept[length++] = bytes[at]!
  }
  return kept.subarray(0, length)
}

/** `NAME;PARAM=value;PARAM="a:b":value` */
function lineOf(written: string): Line | null {
  const [whole, name, params] =
    /^([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=(?:"[^"]*"|[^";:,]*)(?:,(?:"[^"]*"|[^";:,]*))*)*):/.exec(written) ?? []
  if (whole === undefined) return null
  const told = [...params!.matchAll(/;([A-Za-z0-9-]+)=((?:"[^"]*"|[^";:])*)/g)]
  return {
    name: name!.toUpperCase(),
    params: Object.fromEntries(told.map(([, key, value]) => [key!.toUpperCase(), value!.replaceAll('"', '')])),
    value: written.slice(whole.length),
  }
}

/** TEXT as it reads (§3.3.11). */
export function textOf(value: string): string {
  return value.replaceAll(/\\([\\;,nN])/g, (_, sign: string) => (sign === 'n' || sign === 'N' ? '\n' : sign)).trim()
}

/** A list of TEXT, as in CATEGORIES: cut at commas that are not escaped. */
export function textsOf(value: string): string[] {
  return [...value.matchAll(/(?:\\.|[^,\\])+/gs)].map(([one]) => textOf(one)).filter(Boolean)
}

/** Lines of each VEVENT without what is nested in it, and those of the calendar itself. */
export function eventsOf(lines: readonly Line[]): { calendar: Line[]; events: Line[][]; closed: boolean } {
  const open: string[] = []
  const calendar: Line[] = []
  const events: Line[][] = []
  for (const line of lines) {
    const kind = line.value.trim().toUpperCase()
    if (line.name === 'BEGIN') {
      open.push(kind)
      if (open.join('/') === 'VCALENDAR/VEVENT') events.push([])
    } else if (line.name === 'END') open.pop()
    else if (open.join('/') === 'VCALENDAR') calendar.push(line)
    else if (open.join('/') === 'VCALENDAR/VEVENT') events.at(-1)!.push(line)
  }
  return { calendar, events, closed: open.length === 0 }
}
