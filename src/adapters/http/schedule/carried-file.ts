import { gunzipSync, gzipSync } from 'node:zlib'
import * as z from 'zod'
import { badInput } from '../../../domain/failure.ts'
import type { PageContext } from '../desk/page-context.ts'

/** A file between the look at it and its use. */
export interface CarriedFile {
  name: string
  from: string
  to: string
  bytes: Uint8Array
}

const carried = z.strictObject({
  ...{ until: z.number(), name: z.string(), from: z.string(), to: z.string(), packed: z.string() },
})

/** What was looked at is not looked at again later: meanwhile their schedule goes on. */
const LASTS_MS = 60 * 60_000

const bondOf = ({ clinic, who }: PageContext, feed: string) => `file of ${feed} for ${clinic.id} by ${who.id}`

/** In the page itself, packed and sealed for whoever looked at it: nowhere here, and read by nobody on the way. */
export function sealFile(sheet: PageContext, feed: string, { bytes, ...rest }: CarriedFile): string {
  const packed = gzipSync(bytes).toString('base64')
  const until = sheet.now.getTime() + LASTS_MS
  return sheet.deps.seals.seal(JSON.stringify({ ...rest, until, packed }), bondOf(sheet, feed))
}

/** @throws bad-input for what is altered, somebody else's, or too old */
export function openFile(sheet: PageContext, feed: string, sealed: string): CarriedFile {
  try {
    const { until, packed, ...rest } = carried.parse(JSON.parse(sheet.deps.seals.open(sealed, bondOf(sheet, feed))))
    if (until >= sheet.now.getTime()) return { ...rest, bytes: gunzipSync(Buffer.from(packed, 'base64')) }
  } catch {
    // Of somebody else, never of our making, or cut: the same to whoever sent it.
  }
  badInput('file', 'What was shown is too old, or was not shown to you. Choose the file again.')
}
