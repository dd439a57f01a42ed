import { readFile } from 'node:fs/promises'
import { basename } from 'node:path'
import { Command } from 'commander'
import { readFeed } from '../adapters/schedule/feed-file.ts'
import { readFileOf } from '../adapters/schedule/read-any.ts'
import { foldersWith, TEMPLATES } from '../adapters/templates/files.ts'
import { loadTimings } from '../adapters/templates/load-protocols.ts'
import { badInput } from '../domain/failure.ts'
import { checkAll } from '../domain/schedule/check-all.ts'
import { countsOf, type CheckLine } from '../domain/schedule/check-line.ts'

export function command(): Command {
  return new Command('feed-check')
    .description(
      'What a file of messages of a schedule would do here, line by line. Nothing is kept and nothing is sent: it is ' +
        'applied in order to an empty service, on a clock that follows the messages.',
    )
    .argument('<feed>', "the feed's description (YAML)")
    .argument('<file>', 'HL7 v2 messages (framed, or one after another), a FHIR resource, bundle or NDJSON, a table')
    .option(
      '--at <instant>',
      'where the clock stands before the first message, e.g. 2026-03-09T08:00:00Z (default: when the first was made, or a week before the first visit)',
    )
    .addHelpText('after', HELP)
    .action(async (feedFile: string, file: string, { at }: { at?: string }) => {
      process.exitCode = await check(feedFile, file, at)
    })
}

const HELP = `
One JSON object a line: {"n":1,"does":"book","visit":"2026-03-20T10:30-03:00","key":"7001^SKERRY","why":"…","ack":"AA"}
  does   book, amend, move, cancel, no-show, merge, times, nothing, hold (a person must look), refuse (nothing is taken)
  ack    AA accepted, AE content that somebody at the sender must mend too, AR not for us, or to be sent again
Counts are told at the end, on the other stream. Exit: 0, or 2 where any line was not AA.`

async function check(feedFile: string, file: string, at: string | undefined): Promise<number> {
  const known = {
    protocols: new Set(loadTimings().keys()),
    languages: new Set(foldersWith(TEMPLATES, 'sms.yaml')),
  }
  const feed = readFeed((await readOr(feedFile)).toString('utf8'), basename(feedFile), known)
  const now = at === undefined ? null : new Date(at)
  if (Number.isNaN(now?.getTime())) badInput('at', 'Give an instant, e.g. 2026-03-09T08:00:00Z.')
  const context = { sender: basename(file), base: '', now: now ?? new Date(), zones: {} }
  const { lines } = checkAll(await readFileOf(await readOr(file), basename(file), feed, context), feed, now)
  for (const line of lines) process.stdout.write(`${JSON.stringify(line)}\n`)
  process.stderr.write(`${summary(lines)}\n`)
  return lines.every(({ ack }) => ack === 'AA') ? 0 : 2
}

function readOr(file: string): Promise<Buffer> {
  return readFile(file).catch(() => badInput('file', `${file} is not there, or cannot be read.`))
}

function summary(lines: readonly CheckLine[]): string {
  return [...countsOf(lines)].map(([does, count]) => `${count} ${does}`).join(', ') || 'There is no message in it.'
}
