import { Command } from 'commander'
import { DateTime, IANAZone } from 'luxon'
import * as z from 'zod'
import { loadVocabulary } from '../adapters/templates/load-vocabulary.ts'
import { readReply } from '../domain/replies/read-reply.ts'
import { QUESTIONS, type ReplyContext } from '../domain/replies/reading.ts'
import { answerLines } from './json-lines.ts'
import { scoreFile } from './score-replies.ts'

const instant = z
  .string()
  .refine(
    (value) => DateTime.fromISO(value).isValid,
    'Give an ISO 8601 instant with its offset, or a local time with a zone.',
  )
const zone = z
  .string()
  .refine((value) => IANAZone.isValidZone(value), 'Give an IANA time zone, such as America/Halifax.')

const line = z.strictObject({
  id: z.union([z.string(), z.number()]).describe('echoed in the answer'),
  text: z.string().describe('what the patient wrote'),
  language: z.string().default('en').describe('language stored for the patient (default en)'),
  receivedAt: instant.describe('when it came in: ISO 8601 with offset, or local with a zone'),
  zone: zone.optional().describe('IANA zone of the patient (default: the offset of receivedAt)'),
  visit: instant.optional().describe('the visit the conversation is about'),
  choices: z.int().min(0).optional().describe('how many openings are on offer (default: as many as offered)'),
  offered: z.array(instant).optional().describe('instants of the openings on offer, in the order of their numbers'),
  asked: z
    .enum([...QUESTIONS, 'none'])
    .nullish()
    .describe(`what was asked last: ${QUESTIONS.join(', ')} or none`),
  said: z.array(z.string()).optional().describe('our last texts to that number; what is quoted of them is not read'),
})
type Line = z.infer<typeof line>

const INPUT = Object.entries(line.shape).map(([name, field]) => `  ${name.padEnd(12)}${field.description}`)
const HELP = `
Each line of the input is one JSON object:
${INPUT.join('\n')}

id, text and receivedAt are needed. Each line of the output has the id, the meaning, its confidence and the words it
rests on, and where they were told startedOn, endedOn, choice, topic, language, also (further meanings) and clinical
(what a clinician is to be told).`

/**
 * `daysix read-reply`: JSON lines in, what each reply means out. `--score FILE` reads a labelled file instead and
 * prints a confusion table.
 */
export function command(): Command {
  return new Command('read-reply')
    .description('What a reply means, as JSON lines.')
    .option('--score <file>', 'read labelled texts (see tests/replies/corpus) and print how many were read right')
    .addHelpText('after', HELP)
    .action(async ({ score }: { score?: string }) => {
      process.exitCode = score === undefined ? await answerAll() : scoreFile(score, process.stdout)
    })
}

async function answerAll(): Promise<number> {
  const vocabulary = loadVocabulary()
  return answerLines(line, (input) => readReply(input.text, contextOf(input), vocabulary))
}

/** Without a zone the offset of the receipt itself tells what "today" is. */
function contextOf({ language, receivedAt, zone, visit, choices, offered, asked, said }: Line): ReplyContext {
  const received = DateTime.fromISO(receivedAt, zone === undefined ? { setZone: true } : { zone })
  const place = received.zoneName!
  const at = (value: string) => DateTime.fromISO(value, { zone: place }).toJSDate()
  return {
    language,
    receivedAt: received.toJSDate(),
    zone: place,
    choices: choices ?? offered?.length ?? 0,
    ...(visit && { visit: at(visit) }),
    ...(offered && { offered: offered.map(at) }),
    ...(asked && asked !== 'none' && { asked }),
    ...(said && { said }),
  }
}
