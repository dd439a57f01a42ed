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

// Seventy-eight texts in one; whoever writes more is not writing to a clinic, and reading must not take longer than
// 50 ms whatever is sent. The middle is left out and both ends are kept, because that is where a plain request or an
// alarm stands.
const LONGEST = 12_000
const HEAD = 9_000

const PLAIN = /^[\t\n\r\x20-\x7e]*$/
// Control characters, zero-width characters, direction marks, soft hyphens, variation selectors, tags, skin tones.
const INVISIBLE =
  /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u00ad\u034f\u061c\u115f\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufe00-\ufe0f\ufeff]|[\u{e0000}-\u{e007f}]|[\u{1f3fb}-\u{1f3ff}]/gu

// In this order: text faces, clock times, numeric dates, words (with apostrophes), emoji, any other mark. Plain
// texts, which are most, are cut with ASCII classes only, which is faster.
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
// "à", "é", "ó" are words; any other letter that stands alone with a mark is not that letter, but how a stray byte
// looks: "ÿ".
const LONE_MARKED = /^(?![aeiou])\p{L}[\u0300-\u036f]+$/u
const LATIN_WITH_MARKS = /[\u00c0-\u024f\u1e00-\u1eff\u0300-\u036f]/
const WORDLIKE = /^[\p{L}\p{M}\p{N}]|^\p{Extended_Pictographic}/u
const SENTENCE_END = /[.!?。！？।¿¡]/
const SOFT = /[,;:()[\]{}–—|&•…]/

// Control characters, replacement characters, half characters, marks without a letter, and ÿ, which is a byte of ones.
const JUNK =
  /(?:(?![\t\n\r])\p{Cc}|[\ufffd\u00ffÿ]|\p{Cs}|\p{Co}|\p{Cn}|(?<![\p{L}\p{M}\p{N}\p{P}\p{S}\u200d])\p{M})+/gu
const WORD_CHARACTERS = /[\p{L}\p{N}\p{Extended_Pictographic}]/gu
const ENTITIES: Record<string, string> = {
  '&lt;': '<',
  '&gt;': '>',
  '&amp;': '&',
  '&quot;': '"',
  '&#39;': "'",
  '&apos;': "'",
}
const ENTITY = /&(?:lt|gt|amp|quot|apos|#39);/g
// ¹ ² ³ are bytes of old alphabets, not numbers: they would pass for a choice. Gurmukhi digits are numbers.
const LOST_DIGIT = /[\u00b9\u00b2\u00b3]/g
/** A number as an emoji: "3️⃣". */
const KEYCAP = /([0-9])\ufe0f?\u20e3/g
const GURMUKHI_DIGIT = /[\u0a66-\u0a6f]/g

/**
 * Removes what cannot be seen, unifies full-width and similar forms, leaves only "http" of a link, and shortens a
 * text beyond 20,000 characters. What a gateway wrote as markup ("&lt;3") is put back.
 */
export function cleanText(text: string): string {
  const cut = text.length > LONGEST ? `${text.slice(0, HEAD)}\n${text.slice(text.length - (LONGEST - HEAD))}` : text
  const seen = PLAIN.test(cut) ? cut : unified(cut)
  const plain = seen.includes('&') ? seen.replace(ENTITY, (entity) => ENTITIES[entity]!) : seen
  return plain.includes('://') || plain.includes('www.') ? plain.replace(LINK, ' http ') : plain
}

function unified(text: string): string {
  const digits = text.replace(LOST_DIGIT, ' ').replace(GURMUKHI_DIGIT, (digit) => String(digit.charCodeAt(0) - 0x0a66))
  return digits.replace(KEYCAP, '$1 ').normalize('NFKC').replace(INVISIBLE, '').normalize('NFC')
}

/**
 * Bytes that were no text, with a letter among them by chance. Runs are counted, so that a word that was padded or
 * sent in two bytes a letter ("stop" with zeros) is still one.
 */
export function isJunk(text: string): boolean {
  if (PLAIN.test(text)) return false
  const runs = text.match(JUNK)?.length ?? 0
  return runs > 0 && runs >= (text.replace(JUNK, '').match(WORD_CHARACTERS)?.length ?? 0)
}

const BARE = /^[a-z0-9]+$/
// Without its apostrophe each of these is another word: "so I'll" is not "so ill", nor "we'd" Wednesday.
const CONTRACTED = /^(?:i['’‘`´ʼ]ll|we['’‘`´ʼ](?:ll|d|re)|s?he['’‘`´ʼ](?:ll|d))$/

/**
 * Lower case, without accents (Latin letters only: й and ї, ਂ and ੀ are letters of their own) and without
 * apostrophes, but for those that tell two words apart.
 */
export function foldWord(word: string): string {
  const small = word.toLowerCase()
  if (BARE.test(small)) return small
  const lower = small.replace(APOSTROPHES, CONTRACTED.test(small) ? "'" : '')
  if (!LATIN_WITH_MARKS.test(lower) || LONE_MARKED.test(lower.normalize('NFD'))) return lower
  return lower
    .normalize('NFD')
    .replace(MARKS, '')
    .replace(/œ/g, 'oe')
    .replace(/æ/g, 'ae')
    .replace(/ß/g, 'ss')
    .normalize('NFC')
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
