import { Command } from 'commander'
import { DateTime } from 'luxon'
import { z } from 'zod'
import { loadVocabulary } from '../adapters/templates/load-vocabulary.ts'
import { badInput } from '../domain/failure.ts'
import { readReply } from '../domain/replies/read-reply.ts'
import { answerLines } from './json-lines.ts'

const line = z.object({
  id: z.union([z.string(), z.number()]),
  text: z.string(),
  language: z.string().default('en'),
  receivedAt: z.string(),
  zone: z.string().optional(),
  visit: z.string().optional(),
  choices: z.int().min(0).default(0),
})

/** `daysix read-reply`: JSON lines in, what each reply means out. */
export function command(): Command {
  return new Command('read-reply').description('What a reply means, as JSON lines.').action(async () => {
    const vocabulary = loadVocabulary()
    process.exitCode = await answerLines(line, (input) => {
      const received = instant('receivedAt', input.receivedAt, input.zone)
      return readReply(input.text, {
        language: input.language, receivedAt: received.toJSDate(), zone: received.zoneName!, choices: input.choices,
        ...(input.visit && { visit: instant('visit', input.visit, received.zoneName!).toJSDate() }),
      }, vocabulary)
    })
  })
}

function instant(field: string, value: string, zone?: string): DateTime {
  const moment = DateTime.fromISO(value, zone ? { zone } : { setZone: true })
  return moment.isValid ? moment : badInput(field, 'Give an ISO 8601 instant with its offset, or a local time with a zone.')
}
