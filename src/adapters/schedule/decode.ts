import type { Feed } from '../../domain/schedule/feed.ts'

/**
 * Bytes of a file as text: by its BOM, else strict UTF-8, else the feed's charset, else Windows-1252, in which older
 * programs save. A replacement character never gets into a name.
 */
export function decode(bytes: Uint8Array, feed: Feed): string {
  const [first, second] = bytes
  if (first === 0xff && second === 0xfe) return new TextDecoder('utf-16le').decode(bytes)
  if (first === 0xfe && second === 0xff) return new TextDecoder('utf-16be').decode(bytes)
  return (
    decodeStrictly('utf-8', bytes) ??
    decodeStrictly(feed.charset, bytes) ??
    new TextDecoder('windows-1252').decode(bytes)
  )
}

/** Strictly; null where the bytes are not in this charset, or nobody knows it. */
export function decodeStrictly(label: string, bytes: Uint8Array): string | null {
  try {
    return new TextDecoder(label, { fatal: true }).decode(bytes)
  } catch {
    return null
  }
}
