/** One word, number or emoji of a text. */
export interface Token {
  /** Folded: lower case, no accents, no apostrophes. What the vocabulary is compared with. */
  word: string
  /** As written (after removal of invisible characters). */
  written: string
  /** What stands before it: 0 nothing, 1 a comma, bracket or dash, 2 the end of a sentence. */
  before: 0 | 1 | 2
  /** Its sentence ends with a question mark. */
  asks: boolean
}

// An SMS of 255 parts has 39,015 characters; whoever writes more than 20,000 is not writing to a clinic. The middle is
// left out and both ends are kept, because that is where a plain request or an alarm stands.
const LONGEST = 20_000
const HEAD = 15_000

const PLAIN = /^[\t\n\r\x20-\x7e]*$/
// Control characters, zero-width characters, direction marks, soft hyphens, variation selectors, tags, skin tones.
const INVISIBLE =
  /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u00ad\u034f\u061c\u115f\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufe00-\ufe0f\ufeff]|[\u{e0000}-\u{e007f}]|[\u{1f3fb}-\u{1f3ff}]/gu

// In this order: text faces, clock times, numeric dates, words (with apostrophes), emoji, any other mark. Plain texts, which
// are most, are cut with ASCII classes only, which is faster.
const LETTER = String.raw`\p{L}\p{M}\p{N}`
const PIECE = pieces(LETTER, "'’‘\u0060´ʼ", 'gu')
const PLAIN_PIECE = pieces('A-Za-z0-9', "'\u0060", 'g')

function pieces(letter: string, apostrophe: string, flags: string): RegExp {
  const parts = [
    String.raw`<3+|[:;=]['-]?[)(DPpO|\]\[](?![${letter}])`,
    String.raw`\d{1,2}:\d{2}(?![\d:])`,
    String.raw`\d{1,4}[/.-]\d{1,2}(?:[/.-]\d{1,4})?(?![${letter}])`,
    String.raw`[${letter}]+(?:[${apostrophe}][${letter}]+)*`,
    ...(flags === 'gu' ? [String.raw`\p{Extended_Pictographic}`] : []),
    String.raw`\S`,
  ]
  return new RegExp(parts.join('|'), flags)
}

const LINK = /(?:https?:\/\/|www\.)\S*/gi
const FACE = /^[<:;=]./
const APOSTROPHES = /['’‘`´ʼ]/g
const MARKS = /[\u0300-\u036f]/g
const LATIN_WITH_MARKS = /[\u00c0-\u024f\u1e00-\u1eff\u0300-\u036f]/
const WORDLIKE = /^[\p{L}\p{M}\p{N}]|^\p{Extended_Pictographic}/u
const SENTENCE_END = /[.!?。！？।¿¡]/
const SOFT = /[,;:()[\]{}–—|&•…]/

/**
 * Removes what cannot be seen, unifies full-width and similar forms, leaves only "http" of a link, and shortens a text beyond
 * 20,000 characters.
 */
export function cleanText(text: string): string {
  const cut = text.length > LONGEST ? `${text.slice(0, HEAD)}\n${text.slice(text.length - (LONGEST - HEAD))}` : text
  const seen = PLAIN.test(cut) ? cut : cut.normalize('NFKC').replace(INVISIBLE, '').normalize('NFC')
  return seen.includes('://') || seen.includes('www.') ? seen.replace(LINK, ' http ') : seen
}

/** Lower case, without apostrophes and (Latin letters only) without accents: й and ї, ਂ and ੀ are letters of their own. */
export function foldWord(word: string): string {
  const lower = word.toLowerCase().replace(APOSTROPHES, '')
  if (!LATIN_WITH_MARKS.test(lower)) return lower
  return lower.normalize('NFD').replace(MARKS, '').replace(/œ/g, 'oe').replace(/æ/g, 'ae').replace(/ß/g, 'ss').normalize('NFC')
}

/** Cuts a cleaned text into tokens. Punctuation is kept only as what stands before a token, and as `asks`. */
export function tokenise(text: string): Token[] {
  const tokens: Token[] = []
  let before: 0 | 1 | 2 = 2
  let sentence = 0
  let end = 0
  let dots = 0
  for (const match of text.matchAll(PLAIN.test(text) ? PLAIN_PIECE : PIECE)) {
    const written = match[0]
    if (match.index > end && text.slice(end, match.index).includes('\n')) before = 2
    const spaced = match.index > end || match.index === 0
    end = match.index + written.length
    if (FACE.test(written) && written.length > 1) continue
    if (WORDLIKE.test(written)) {
      if (before === 2) sentence = tokens.length
      tokens.push({ word: foldWord(written), written, before, asks: false })
      before = 0
      dots = 0
      continue
    }
    if (written === '?') for (let i = sentence; i < tokens.length; i++) tokens[i]!.asks = true
    // "…" and ".." hold the sentence open: "my period... it started".
    dots = written === '.' ? dots + 1 : 0
    if (dots > 1) before = 1
    else if (SENTENCE_END.test(written)) before = 2
    else if (before === 0 && (SOFT.test(written) || (written === '-' && spaced))) before = 1
  }
  return tokens
}
