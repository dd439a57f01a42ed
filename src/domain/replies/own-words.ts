import type { Quotes, Reaction } from './quotes.ts'
import { cleanText, tokenise, type Token } from './tokens.ts'

/**
 * What is left of a text when what the phone quoted back is cut: the patient's own words, and the reaction it came
 * with.
 */
export interface OwnWords {
  text: string
  reaction?: Exclude<Reaction, 'emoji'>
}

const CLOSING: Record<string, string> = { '“': '”', '”': '”', '„': '“', '‟': '”', '«': '»', '"': '"' }
const MARK = /[“”„‟«"]|(?<=\s)['‘]/gu
const ANY_MARK = /[“”„‟«"'‘]/
/** Words before the quotation: no phone writes more than "Removed an exclamation mark from". */
const LONGEST_LEAD = 60
const EMOJI = /^\p{Extended_Pictographic}/u
const SYMBOL = /[^\p{L}\p{M}\p{N}\s'’]/u
const APPROVING = /[👍❤♥😂🤣😊🙂😀😁😃😄😍🥰😘🙏👌👏🙌💯✅✔🎉💕💗💖🧡💛💚💙💜🤍🤎🖤🤗👋]/u

/** Cuts what a phone or a mail program quotes back; of a cleaned text. What we said is never the patient's word. */
export function cutQuotes(text: string, quotes: Quotes): OwnWords {
  const unquoted = text.includes('>') ? text.replace(/^[ \t]*>.*$/gm, '') : text
  const own = unquoted.includes(':') ? withoutMail(unquoted, quotes) : unquoted
  return cutReaction(own, quotes) ?? { text: own }
}

/**
 * The words before "On … wrote:". A year or a time of day stands in it, as it does not in "on Monday my doctor
 * wrote: …".
 */
function withoutMail(text: string, { mail }: Quotes): string {
  const small = text.toLowerCase()
  for (const { opens, closes } of mail) {
    const end = small.search(closes)
    const start = end < 0 ? -1 : headerStart(small.slice(0, end), opens)
    if (start >= 0) return text.slice(0, start)
  }
  return text
}

const LONGEST_HEADER = 250
const DATED = /\d{4}|\d{1,2}[:h.]\d{2}/

function headerStart(before: string, opens: string): number {
  const hasDate = (at: number) => before.length - at <= LONGEST_HEADER && DATED.test(before.slice(at))
  const line = before.lastIndexOf('\n') + 1
  if (opens === '') return hasDate(line) ? line : -1
  for (let at = before.length; at > 0 && before.length - at <= LONGEST_HEADER;) {
    at = before.lastIndexOf(`${opens} `, at - 1)
    if (at < 0) return -1
    if ((at === 0 || /\s/.test(before[at - 1]!)) && hasDate(at)) return at
  }
  return -1
}

function cutReaction(text: string, quotes: Quotes): OwnWords | undefined {
  if (!ANY_MARK.test(text)) return undefined
  for (const mark of text.matchAll(MARK)) {
    const line = text.lastIndexOf('\n', mark.index) + 1
    if (mark.index - line > LONGEST_LEAD) continue
    const end = endOfQuote(text, mark.index, mark[0])
    const lead = text.slice(line, mark.index)
    const tail = text.slice(end)
    const before = reactionIn(lead, quotes)
    if (before) return { text: `${text.slice(0, line)}\n${tail}`, reaction: before }
    const after = lead.trim() === '' ? reactionIn(tail, quotes) : undefined
    if (after) return { text: text.slice(0, line), reaction: after }
  }
  return undefined
}

/**
 * After the last closing mark, since we may have quoted as well; the end where the phone cut it off, or where the
 * mark is an apostrophe too.
 */
function endOfQuote(text: string, start: number, mark: string): number {
  const closing = CLOSING[mark]
  const end = closing === undefined ? -1 : text.lastIndexOf(closing)
  return end > start ? end + 1 : text.length
}

function reactionIn(words: string, { reactions }: Quotes): OwnWords['reaction'] {
  if (words.length > LONGEST_LEAD) return undefined
  const tokens = tokenise(words)
  const found = reactions.get(
    tokens
      .filter(({ word }) => !EMOJI.test(word))
      .map(({ word }) => word)
      .join(' '),
  )
  if (found !== 'emoji') return found
  if (!SYMBOL.test(words)) return undefined
  return APPROVING.test(words) ? 'approved' : 'doubted'
}

/** So many words in a row are no chance. */
const SAME_WORDS = 4
/** Of this length it is ours wherever it begins; shorter, a patient may have answered in a part of our sentence. */
const CERTAINLY_OURS = 8

/**
 * The words that are not ours: a run of four or more that we said is dropped. A short run from the middle of a
 * sentence of ours stays, since it is how one answers: "my period has started" is five words of our question in
 * Punjabi.
 */
export function withoutSaid(tokens: Token[], said: readonly string[]): Token[] {
  const ours = said.map((text) => tokenise(cleanText(text)))
  const index = indexOf(ours)
  const kept: Token[] = []
  let cut = false
  for (let at = 0; at < tokens.length;) {
    const length = Math.max(
      0,
      ...(index.get(gram(tokens, at)) ?? []).map(([text, from]) => sameFrom(tokens, at, ours[text]!, from)),
    )
    if (length > 0) {
      at += length
      cut = true
      continue
    }
    kept.push(cut ? { ...tokens[at]!, before: 2 } : tokens[at]!)
    cut = false
    at++
  }
  return kept
}

type Places = [text: number, from: number][]

function indexOf(ours: Token[][]): Map<string, Places> {
  const index = new Map<string, Places>()
  for (const [text, tokens] of ours.entries()) {
    for (let from = 0; from + SAME_WORDS <= tokens.length; from++) {
      const key = gram(tokens, from)
      const places = index.get(key)
      if (places) places.push([text, from])
      else index.set(key, [[text, from]])
    }
  }
  return index
}

function gram(tokens: Token[], from: number): string {
  return tokens
    .slice(from, from + SAME_WORDS)
    .map(({ word }) => word)
    .join(' ')
}

/** How many words from `at` on are ours from `from` on; 0 when they may be the patient's own. */
function sameFrom(tokens: Token[], at: number, ours: Token[], from: number): number {
  let length = 0
  while (tokens[at + length] && tokens[at + length]!.word === ours[from + length]?.word) length++
  const isPartOfSentence = ours.slice(from, from + length).every(({ before }) => before === 0)
  return length < CERTAINLY_OURS && isPartOfSentence ? 0 : length
}
