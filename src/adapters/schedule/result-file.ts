import type { CheckLine } from '../../domain/schedule/check-line.ts'
import type { MessageRead } from '../../domain/schedule/feed.ts'
import { commaSeparated } from '../comma-separated.ts'

/** A line with the row that it is of: as a spreadsheet counts, else the how-manieth it is; null = of none. */
export interface ResultLine {
  row: number | null
  line: CheckLine
}

export function resultLines(lines: readonly CheckLine[], reads: readonly MessageRead[]): ResultLine[] {
  return lines.map((line) => ({ row: line.n === 0 ? null : (reads[line.n - 1]?.row ?? line.n), line }))
}

/** Rows of which something is to be mended. */
export const isBad = ({ line: { does } }: ResultLine): boolean => does === 'hold' || does === 'refuse'

/** What to do about it. */
export function mendOf({ does, ack }: Pick<CheckLine, 'does' | 'ack'>): string {
  if (does === 'hold')
    return ack === 'AE' ? 'On the call list; say what the code means, or mend it there.' : 'On the call list.'
  return does === 'refuse' ? 'Mend the row where it comes from, and send the file again: what was taken stays.' : ''
}

/** The bad rows of a file, for whoever mends it: number, appointment, reason, mend. */
export function resultFile(results: readonly ResultLine[]): string {
  const rows = results
    .filter(isBad)
    .map(({ row, line }) => [String(row ?? ''), line.key ?? '', line.does, line.why ?? '', mendOf(line)])
  return commaSeparated([['row', 'appointment', 'what', 'reason', 'mend'], ...rows])
}
