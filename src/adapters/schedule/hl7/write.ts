// What our own messages are written with: the usual delimiters, `|^~\\&`.

const ESCAPES: ReadonlyMap<string, string> = new Map([
  ['\\', '\\E\\'],
  ['|', '\\F\\'],
  ['^', '\\S\\'],
  ['&', '\\T\\'],
  ['~', '\\R\\'],
  ['\r', ' '],
  ['\n', ' '],
])
/** A leaf that a reader finds whole, whatever is in it. */
export const escape = (value: string) => value.replace(/[\\|^&~\r\n]/g, (mark) => ESCAPES.get(mark)!)
export const trimmed = (segment: string) => segment.replace(/\|+$/, '')

/** In UTC, with its offset: nobody needs to know where this runs. */
export const stamp = (at: Date) => `${at.toISOString().replace(/\D/g, '').slice(0, 14)}+0000`

/** ASCII needs no charset; what is not says that it is UTF-8. */
export function encode(lines: readonly string[]): Uint8Array {
  const plain = lines.every((line) => /^[\x00-\x7f]*$/.test(line))
  const [msh, ...rest] = lines
  const all = plain ? lines : [`${msh}||||||UNICODE UTF-8`, ...rest]
  return new TextEncoder().encode(all.map((line) => `${line}\r`).join(''))
}
