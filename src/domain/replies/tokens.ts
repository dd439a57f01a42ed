/** One word, number, emoji or mark of a text. */
export interface Token {
  /** Folded: lower case, no accents, no apostrophes. What the vocabulary is compared with. */
  word: string
  /** As written (after removal of invisible characters). */
  written: string
  /** A clause ends before this token: punctuation or a line end stood there. */
  breaks: boolean
}

// Letters beyond these are left out of the middle: an SMS of 255 parts has 39,015 characters, and whoever writes more
// than 20,000 is not writing to a clinic. Both ends are kept because that is where a plain request stands.
const LONGEST = 20_000
const HEAD = 15_000

// Control characters, zero-width characters, direction marks, soft hyphens, variation selectors, tags.
// eslint-disable-next-line no-control-regex
const INVISIBLE = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u00ad\u034f\u061c\u115f\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufe00-\ufe0f\ufeff]|[\u{e0000}-\u{e007f}]|[\u{1f3fb}-\u{1f3ff}]/gu
const PIECE = /\d{1,4}[/.-]\d{1,2}(?:[/.-]\d{1,4})?(?![\p{L}\p{N}])|[\p{L}\p{M}\p{N}]+(?:['’‘`´ʼ][\p{L}\p{M}\p{N}]+)*|\p{Extended_Pictographic}|[^\s]/gu
const APOSTROPHES = /['’‘`´ʼ]/g
const MARKS = /[\u0300-\u036f]/g
const LATIN_WITH_MARKS = /[\u00c0-\u024f\u1e00-\u1eff\u0300-\u036f]/
const WORDLIKE = /^[\p{L}\p{M}\p{N}]|^\p{Extended_Pictographic}/u
const PLAIN = /^[\t\n\r\x20-\x7e]*$/

/** Removes what cannot be seen, unifies full-width and similar forms, and shortens a text beyond 20,000 characters. */
export function cleanText(text: string): string {
  const cut = text.length > LONGEST ? `${text.slice(0, HEAD)}\n${text.slice(text.length - (LONGEST - HEAD))}` : text
  if (PLAIN.test(cut)) return cut
  return cut.normalize('NFKC').replace(INVISIBLE, '').normalize('NFC')
}

/** Lower case, without apostrophes and (Latin letters only) without accents: й and ї, ਂ and ੀ are letters of their own. */
export function foldWord(word: string): string {
  const lower = word.toLowerCase().replace(APOSTROPHES, '')
  if (!LATIN_WITH_MARKS.test(lower)) return lower
  return lower.normalize('NFD').replace(MARKS, '').replace(/œ/g, 'oe').replace(/æ/g, 'ae').replace(/ß/g, 'ss').normalize('NFC')
}

/** Cuts a cleaned text into tokens; punctuation becomes the `breaks` of the token after it. */
export function tokenise(text: string): Token[] {
  const tokens: Token[] = []
  let breaks = true
  let end = 0
  for (const match of text.matchAll(PIECE)) {
    const written = match[0]
    if (text.slice(end, match.index).includes('\n')) breaks = true
    end = match.index + written.length
    if (!WORDLIKE.test(written)) {
      breaks = breaks || !HARMLESS.has(written)
      continue
    }
    tokens.push({ word: foldWord(written), written, breaks })
    breaks = false
  }
  return tokens
}

// Marks inside a clause: "3/14", "2026-03-14", quotes.
const HARMLESS = new Set(['/', '-', '"', '“', '”', '«', '»', '*', '_', '#', "'", '’', '+', '&', '@'])
