import { readFileSync } from 'node:fs'
import { DateTime } from 'luxon'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import type { Question, Reading, ReplyContext } from '../../src/domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../src/domain/replies/reply-meanings.ts'

const ZONE = 'America/Halifax'
const RECEIVED = DateTime.fromISO('2026-03-17T15:00', { zone: ZONE })
const VISIT = DateTime.fromISO('2026-03-20T10:30', { zone: ZONE })
const OFFERED = ['2026-03-24T09:00', '2026-03-26T14:00', '2026-03-30T10:00'].map((at) =>
  DateTime.fromISO(at, { zone: ZONE }),
)
/** What leads to an answer in words, or to a person: nothing is learned, moved, confirmed or silenced by it. */
const HARMLESS: ReadonlySet<string> = new Set([
  'unclear',
  'thanks',
  'prep-question',
  'where',
  'help',
  'rejoin',
  'urgent',
])
/** Whoever wants another time cannot come at this one. */
const SAME: Readonly<Record<string, string>> = { 'another-time': 'cannot-come', 'start-again': 'rejoin' }

/** A text that somebody wrote and labelled who had not seen the vocabulary. */
export interface BlindText {
  language: string
  text: string
  context: ReplyContext
  /** What is acceptable, the best first; `choice-2` names the number. */
  accepted: string[]
  /** What is to be read besides. */
  also: string[]
  /** The first day of a period that was told; `?` = a start without a sure day; undefined = none told. */
  startedOn: string | undefined
}

/**
 * Reads a batch: language, what was asked, openings on offer, text, meanings (`a|b+also`), day (days ago, or a date),
 * and whether a wrong reading could harm, with tabs between them.
 */
export function readBatch(file: URL): BlindText[] {
  return readFileSync(file, 'utf8')
    .split('\n')
    .filter((line) => line.trim() !== '' && !line.startsWith('#'))
    .map((line) => {
      const [language, asked, offered, text, expected, day] = line.split('\t') as string[]
      const [meanings, ...also] = expected!.split('+')
      const offer = OFFERED.slice(0, Number(offered)).map((at) => at.toJSDate())
      return {
        language: language!,
        text: text!,
        accepted: meanings!.split('|').map((meaning) => SAME[meaning] ?? meaning),
        also: also.flatMap((each) => each.split('|')).map((meaning) => SAME[meaning] ?? meaning),
        startedOn: dateOf(day!.trim()),
        context: {
          ...{ language: language!, receivedAt: RECEIVED.toJSDate(), zone: ZONE, visit: VISIT.toJSDate() },
          ...{ choices: offer.length, offered: offer, ...(asked !== '-' && { asked: asked as Question }) },
        },
      }
    })
}

function dateOf(day: string): string | undefined {
  if (/^\d+$/.test(day)) return RECEIVED.minus({ days: Number(day) }).toISODate()!
  return day === '-' ? undefined : day
}

export interface Score {
  texts: number
  /** One of the accepted readings, with no wrong day. */
  accepted: number
  /** The best of them. */
  sharp: number
  /** Something is done about the visit, the dates or the texts. */
  acted: number
  wrong: string[]
}

const vocabulary = loadVocabulary()

export function scoreOf(batch: readonly BlindText[]): Score {
  const score: Score = { texts: batch.length, accepted: 0, sharp: 0, acted: 0, wrong: [] }
  for (const each of batch) {
    const reading = readReply(each.text, each.context, vocabulary)
    const got = reading.meaning === 'choice' ? `choice-${reading.choice}` : reading.meaning
    const isRight = isAccepted(each, reading, got) && !isMisdated(each, reading)
    if (isRight) score.accepted++
    if (isRight && got === each.accepted[0]) score.sharp++
    if (HARMLESS.has(got) || !(reading.meaning in REPLY_MEANINGS)) continue
    score.acted++
    if (!isRight) score.wrong.push(`${each.language} "${each.text}": ${each.accepted.join('|')}, read as ${got}`)
  }
  return score
}

/** Of two things told, the other may come first: both are then acted on. */
function isAccepted({ accepted, also }: BlindText, reading: Reading, got: string): boolean {
  const others: readonly string[] = reading.also ?? []
  return (
    accepted.includes(got) ||
    (also.includes(got) && others.some((each) => accepted.some((one) => one.startsWith(each))))
  )
}

function isMisdated({ startedOn }: BlindText, reading: Reading): boolean {
  return reading.startedOn !== undefined && startedOn !== undefined && reading.startedOn !== startedOn
}
