import { readdirSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { check, isDangerous, readLabelled } from '../../src/cli/score-replies.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'

// Labelled and everyday texts are invented for this project; what each means is judged by hand, no published source.
const folder = new URL('./corpus/', import.meta.url)
const vocabulary = loadVocabulary()
const files = readdirSync(folder).filter((file) => file.endsWith('.tsv'))
const labelled = files.flatMap((file) => readLabelled(readFileSync(new URL(file, folder), 'utf8')))
const results = labelled.map((each) => ({ labelled: each, ...check(each, vocabulary) }))

describe('the labelled replies', () => {
  it('are at least 600, in five languages', () => {
    expect(labelled.length).toBeGreaterThanOrEqual(600)
    expect(new Set(labelled.map(({ language }) => language)).size).toBe(5)
  })

  it('are read right in at least 98 of 100', () => {
    const wrong = results
      .filter(({ right }) => !right)
      .map(({ labelled: { text }, reading }) => `"${text}" read as ${reading.meaning}`)
    expect(wrong.length, wrong.join('\n')).toBeLessThanOrEqual(labelled.length * 0.02)
  })

  it('never miss a stop or an alarm, invent a start or give a wrong date', () => {
    const dangerous = results.filter(({ labelled: each, reading }) => isDangerous(each, reading))
    expect(
      dangerous.map(
        ({ labelled: { text }, reading }) => `"${text}" read as ${reading.meaning} ${reading.startedOn ?? ''}`,
      ),
    ).toEqual([])
  })

  it('are right more often where the reader is surer', () => {
    const share = (from: number, to: number) => {
      const within = results.filter(
        ({ reading }) => reading.meaning !== 'unclear' && reading.confidence >= from && reading.confidence < to,
      )
      return within.filter(({ right }) => right).length / within.length
    }
    expect(share(0.9, 1.01)).toBeGreaterThanOrEqual(0.98)
    // Of texts that were mended for, both are nearly all; see `blind.test.ts` for others.
    expect(share(0.9, 1.01)).toBeGreaterThanOrEqual(share(0, 0.9) - 0.01)
  })
})

describe('everyday texts that concern none of this', () => {
  const everyday = readFileSync(new URL('everyday.txt', folder), 'utf8')
    .split('\n')
    .filter((line) => line !== '' && !line.startsWith('#'))
    .map((line) => line.split('\t') as [string, string])

  it('are never read as a period that started, a stop or a death, nor marked for a clinician', () => {
    const read = everyday.map(([language, text]) => ({
      text,
      ...readReply(
        text,
        { language, receivedAt: new Date(Date.UTC(2026, 2, 18, 17)), zone: 'America/Halifax', choices: 0 },
        vocabulary,
      ),
    }))
    const misread = read.filter(
      ({ meaning, also, clinical }) =>
        clinical !== undefined ||
        [meaning, ...(also ?? [])].some((each) => each === 'period-started' || each === 'stop' || each === 'died'),
    )
    expect(everyday.length).toBeGreaterThan(300)
    expect(misread.map(({ text, meaning }) => `"${text}" read as ${meaning}`)).toEqual([])
  })
})
