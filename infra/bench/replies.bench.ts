// How many replies are read in a second, on one core. Baseline: cutting the same texts into words, which any reader
// must do.
import { readdirSync, readFileSync } from 'node:fs'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readLabelled } from '../../src/cli/score-replies.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'

const CORPUS = new URL('../../tests/replies/corpus/', import.meta.url)
const ROUNDS = 5
const SECONDS = 1

/** Prints texts a second over the labelled replies and over everyday texts, best of five rounds of one second. */
export async function bench(): Promise<void> {
  const vocabulary = loadVocabulary()
  const replies = readdirSync(CORPUS)
    .filter((file) => file.endsWith('.tsv'))
    .flatMap((file) => readLabelled(readFileSync(new URL(file, CORPUS), 'utf8')))
  const cases = replies.map(({ text, language, receivedAt, choices }) => ({
    text,
    context: { language, receivedAt: receivedAt.toJSDate(), zone: 'America/Halifax', choices },
  }))
  const everyday = readFileSync(new URL('everyday.txt', CORPUS), 'utf8')
    .split('\n')
    .filter((line) => line.includes('\t'))
    .map((line) => {
      const [language, text] = line.split('\t') as [string, string]
      return {
        text,
        context: { language, receivedAt: new Date(Date.UTC(2026, 2, 18, 17)), zone: 'America/Halifax', choices: 0 },
      }
    })
  const bare = rate(cases, ({ text }) => text.toLowerCase().split(/[^\p{L}\p{N}]+/u))
  const read = rate(cases, ({ text, context }) => readReply(text, context, vocabulary))
  const chat = rate(everyday, ({ text, context }) => readReply(text, context, vocabulary))
  console.log(
    `replies: ${read.toFixed(0)} texts/s read, ${chat.toFixed(0)} everyday texts/s; only cut into words ${bare.toFixed(0)}/s (1 : ${(bare / read).toFixed(1)})`,
  )
}

function rate<T>(items: T[], work: (item: T) => unknown): number {
  let best = 0
  for (let round = 0; round < ROUNDS; round++) {
    const start = process.hrtime.bigint()
    let done = 0
    while (process.hrtime.bigint() - start < BigInt(SECONDS * 1e9)) for (const item of items) done += work(item) ? 1 : 0
    best = Math.max(best, done / (Number(process.hrtime.bigint() - start) / 1e9))
  }
  return best
}
