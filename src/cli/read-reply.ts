import { Command } from 'commander'
import { DateTime } from 'luxon'
import { z } from 'zod'
import { loadVocabulary } from '../adapters/templates/load-vocabulary.ts'
import { badInput } from '../domain/failure.ts'
import { readReply } from '../domain/replies/read-reply.ts'
import { answerLines } from './json-lines.ts'
import { scoreFile } from './score-replies.ts'

const line = z.object({
  id: z.union([z.string(), z.number()]),
  text: z.string(),
  language: z.string().default('en'),
  receivedAt: z.string(),
  zone: z.string().optional(),
  visit: z.string().optional(),
  choices: z.int().min(0).default(0),
  offered: z.array(z.string()).optional(),
})

/**
 * `daysix read-reply`: JSON lines in, what each reply means out. `--score FILE` reads a labelled file instead and prints a
 * confusion table.
 */
export function command(): Command {
  return new Command('read-reply')
    .description('What a reply means, as JSON lines.')
    .option('--score <file>', 'read labelled texts (see tests/replies/corpus) and print how many were read right')
    .action(async ({ score }: { score?: string }) => {
      process.exitCode = score === undefined ? await answerAll() : scoreFile(score, process.stdout)
    })
}

async function answerAll(): Promise<number> {
  const vocabulary = loadVocabulary()
  return answerLines(line, (input) => {
    const received = instant('receivedAt', input.receivedAt, input.zone)
    const zone = received.zoneName!
    const offered = input.offered?.map((start) => instant('offered', start, zone).toJSDate())
    return readReply(
      input.text,
      {
        language: input.language,
        receivedAt: received.toJSDate(),
        zone,
        choices: input.choices,
        ...(input.visit && { visit: instant('visit', input.visit, zone).toJSDate() }),
        ...(offered && { offered }),
      },
      vocabulary,
    )
  })
}

/** Without a zone the offset of the instant itself tells what "today" is. */
function instant(field: string, value: string, zone?: string): DateTime {
  const moment = DateTime.fromISO(value, { setZone: true })
  if (!moment.isValid) badInput(field, 'Give an ISO 8601 instant with its offset, or a local time with a zone.')
  if (zone === undefined) return moment
  const local = DateTime.fromISO(value, { zone })
  return local.isValid ? local : badInput('zone', 'Give an IANA time zone, such as America/Halifax.')
}
