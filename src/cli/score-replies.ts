import { readFileSync } from 'node:fs'
import { DateTime } from 'luxon'
import { loadVocabulary } from '../adapters/templates/load-vocabulary.ts'
import { badInput } from '../domain/failure.ts'
import { readReply } from '../domain/replies/read-reply.ts'
import { CLINICAL, MEANINGS, meaningsWith, QUESTIONS, type Question, type Reading } from '../domain/replies/reading.ts'

/** One labelled text. `meanings`: the main one first, then those that must be read as well. */
export interface Labelled {
  language: string
  meanings: string[]
  /** The date or the number of the choice that must come out. */
  detail: string
  /** What a clinician must be told; undefined where the label leaves it open. */
  clinical?: string
  text: string
  choices: number
  asked?: Question
  receivedAt: DateTime
}

const RECEIVED = '2026-03-18T14:00:00-03:00'
const ZONE = 'America/Halifax'

/**
 * Reads a labelled file: tab-separated language, meaning with date or number, text, and optionally choices,
 * instant of receipt and what was asked. A meaning may be followed by what a clinician is told:
 * `period-started/bleeding`. `#` opens a remark.
 */
export function readLabelled(content: string): Labelled[] {
  return content.split('\n').flatMap((line, number): Labelled[] => {
    if (line.trim() === '' || line.startsWith('#')) return []
    const [language, label, text, choices, receivedAt, asked] = line.split('\t')
    if (!language || !label || text === undefined)
      return badInput('score', `Line ${number + 1} needs language, meaning and text, with tabs between them.`)
    const [names, detail] = label.split(' ')
    const [told, clinical] = names!.split('/')
    const meanings = told!.split('+')
    const unknown = meanings.find((meaning) => !(MEANINGS as readonly string[]).includes(meaning))
    if (unknown !== undefined) badInput('score', `Line ${number + 1}: there is no meaning "${unknown}".`)
    if (!isOneOf(CLINICAL, clinical))
      badInput('score', `Line ${number + 1}: there is no remark "${clinical}" for a clinician.`)
    if (!isOneOf(QUESTIONS, asked)) badInput('score', `Line ${number + 1}: there is no question "${asked}".`)
    return [
      {
        language,
        meanings,
        detail: detail ?? '',
        text,
        choices: Number(choices ?? 0),
        receivedAt: DateTime.fromISO(receivedAt || RECEIVED, { zone: ZONE }),
        ...(clinical && { clinical }),
        ...(asked && { asked: asked as Question }),
      },
    ]
  })
}

function isOneOf(names: readonly string[], name: string | undefined): boolean {
  return !name || names.includes(name)
}

/** What was read from a labelled text, and whether it is right: main meaning, further meanings, date, choice. */
export function check(
  labelled: Labelled,
  vocabulary: ReturnType<typeof loadVocabulary>,
): { reading: Reading; right: boolean } {
  const { language, text, choices, receivedAt, asked, clinical } = labelled
  const context = { language, receivedAt: receivedAt.toJSDate(), zone: ZONE, choices, ...(asked && { asked }) }
  const reading = readReply(text, context, vocabulary)
  const [main, ...others] = labelled.meanings
  const isDated = main === 'period-started' || others.includes('period-started')
  const detail = isDated ? (reading.startedOn ?? '') : String(reading.choice ?? reading.endedOn ?? '')
  const right =
    reading.meaning === main &&
    others.every((other) => reading.also?.some((meaning) => meaning === other)) &&
    detail === labelled.detail &&
    (clinical === undefined || reading.clinical === clinical)
  return { reading, right }
}

const harmfulIf = (error: 'missed' | 'invented') => meaningsWith(({ harmful }) => harmful.includes(error))

/** An error that could harm: a stop, alarm or death missed, a start or death that was not told, a wrong date. */
export function isDangerous(labelled: Labelled, reading: Reading): boolean {
  const read = [reading.meaning, ...(reading.also ?? [])]
  const missed = harmfulIf('missed').some((meaning) => labelled.meanings[0] === meaning && reading.meaning !== meaning)
  const invented = harmfulIf('invented').some(
    (meaning) => read.includes(meaning) && !labelled.meanings.includes(meaning),
  )
  const misdated =
    labelled.meanings.includes('period-started') &&
    reading.startedOn !== undefined &&
    reading.startedOn !== labelled.detail
  return missed || invented || misdated
}

/**
 * Reads every text of a labelled file and prints a confusion table, the share that was right at each confidence,
 * and every error.
 *
 * @returns the exit code: 1 when any error is a dangerous one.
 */
export function scoreFile(path: string, output: { write(text: string): unknown }): number {
  const vocabulary = loadVocabulary()
  const results = readLabelled(readFileSync(path, 'utf8')).map((labelled) => ({
    labelled,
    ...check(labelled, vocabulary),
  }))
  const wrong = results.filter((result) => !result.right)
  const dangerous = results.filter(({ labelled, reading }) => isDangerous(labelled, reading))
  output.write(`${confusionTable(results)}\n${calibration(results)}\n`)
  for (const { labelled, reading } of new Set([...dangerous, ...wrong])) {
    const read = [
      [reading.meaning, ...(reading.also ?? [])].join('+'),
      reading.startedOn ?? reading.endedOn ?? reading.choice ?? '',
    ]
      .join(' ')
      .trim()
    const mark = dangerous.some((result) => result.labelled === labelled) ? '!' : ' '
    output.write(
      `${mark} ${labelled.language} "${labelled.text.slice(0, 100)}": ${labelled.meanings.join('+')} ${labelled.detail}, read as ${read}\n`,
    )
  }
  const share = results.length === 0 ? 0 : (100 * (results.length - wrong.length)) / results.length
  output.write(
    `${results.length - wrong.length} of ${results.length} right (${share.toFixed(1)} %), ${dangerous.length} dangerous\n`,
  )
  return dangerous.length > 0 ? 1 : 0
}

type Result = { labelled: Labelled; reading: Reading; right: boolean }

/** Rows: what it was. Columns: what was read. */
function confusionTable(results: Result[]): string {
  const names = MEANINGS.filter((meaning) =>
    results.some(({ labelled, reading }) => labelled.meanings[0] === meaning || reading.meaning === meaning),
  )
  const cell = (text: string | number) => String(text).padStart(4)
  const head = `${'was \\ read as'.padEnd(16)}${names.map((_, i) => cell(i + 1)).join('')}`
  const rows = names.map((was, i) => {
    const counts = names.map(
      (read) =>
        results.filter(({ labelled, reading }) => labelled.meanings[0] === was && reading.meaning === read).length,
    )
    return `${`${i + 1} ${was}`.padEnd(16).slice(0, 16)}${counts.map((count) => cell(count || '.')).join('')}`
  })
  return [head, ...rows].join('\n')
}

const STEPS = [0.5, 0.7, 0.8, 0.9, 0.95, 1.01]

/** How often a reading was right, by the confidence it came with. */
function calibration(results: Result[]): string {
  const told = results.filter(({ reading }) => reading.meaning !== 'unclear')
  return STEPS.slice(0, -1)
    .map((from, i) => {
      const within = told.filter(({ reading }) => reading.confidence >= from && reading.confidence < STEPS[i + 1]!)
      const right = within.filter((result) => result.right).length
      return `confidence from ${from}: ${right} of ${within.length} right`
    })
    .join('\n')
}
