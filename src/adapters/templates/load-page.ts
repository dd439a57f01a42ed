import { join } from 'node:path'
import * as z from 'zod'
import { NOTHING_APPROVED, PAGE_KEY, type Approvals } from '../../domain/messages/texts/approval.ts'
import { parseMessage, placeholders } from '../../domain/messages/texts/message.ts'
import { digestOf } from './digest.ts'
import { Faults, foldersWith, readYaml, TEMPLATES } from './files.ts'

const words = z.string().min(1)
const byRule = z.record(z.string(), words)

const pageFile = z.strictObject({
  title: words,
  languages: words,
  draft: words,
  call: words,
  visit: words,
  before: z.strictObject({ heading: words, from: words, late: words, nothing: words, why: words }),
  avoid: byRule,
  fine: z.strictObject({ heading: words, items: byRule }),
  answers: z.strictObject({
    heading: words,
    come: words,
    comeButton: words,
    period: words,
    lastPeriod: words,
    date: words,
    sendDate: words,
    notYet: words,
    notSure: words,
    move: words,
    moveButton: words,
    offer: words,
    take: words,
  }),
  wrong: z.strictObject({ heading: words, text: words, button: words }),
  urgent: z.strictObject({ heading: words, text: words }),
  read: z.strictObject({ question: words, button: words }),
  mail: z.strictObject({ heading: words, text: words, button: words, done: words }),
  calendar: z.strictObject({ heading: words, link: words, hint: words, title: words }),
  thanks: z.strictObject({ heading: words, text: words }),
  problem: z.strictObject({ heading: words, date: words, choice: words }),
  where: words,
  missing: z.strictObject({ heading: words, text: words }),
  away: z.strictObject({ heading: words, text: words }),
  closed: z.strictObject({ heading: words, text: words }),
  caution: words,
  stop: words,
})
export type PageWords = z.infer<typeof pageFile>

/** The words of the patient's page in one language; approved or not as a whole. */
export interface PageTexts {
  words: PageWords
  digest: string
  readonly state: 'approved' | 'draft'
}

/**
 * Reads `page.yaml` of every language.
 *
 * @throws Failure `bad-input` listing all faults of all files.
 */
export function loadPageTexts(
  folder: string = TEMPLATES,
  approvals: Approvals = NOTHING_APPROVED,
): Map<string, PageTexts> {
  const faults = new Faults(folder)
  const pages = new Map<string, PageTexts>()
  for (const code of foldersWith(folder, 'language.yaml')) {
    const file = join(folder, code, 'page.yaml')
    const read = readYaml(file, pageFile, faults)
    if (!read) continue
    checkMessages(read, code, (where, message) => faults.add(file, where, message))
    const digest = digestOf(JSON.stringify(read))
    pages.set(code, {
      words: read,
      digest,
      get state() {
        return approvals(code, PAGE_KEY, digest) ? 'approved' : 'draft'
      },
    })
  }
  faults.throwIfAny()
  return pages
}

/** The few that take a value must be ICU MessageFormat, and say it. */
function checkMessages(
  { before, answers, calendar, urgent, stop }: PageWords,
  code: string,
  fault: (where: string, message: string) => void,
): void {
  const messages: [where: string, message: string, value: string][] = [
    ['before.from', before.from, 'when'],
    ['answers.take', answers.take, 'when'],
    ['calendar.hint', calendar.hint, 'title'],
    ['urgent.text', urgent.text, 'emergency'],
    ['stop', stop, 'stop'],
  ]
  for (const [where, message, value] of messages) {
    try {
      const asked = placeholders(parseMessage(message, code))
      if (!asked.has(value)) fault(where, `It must say {${value}}.`)
      for (const name of asked) if (name !== value) fault(where, `There is no value {${name}} here.`)
    } catch (error) {
      fault(where, `This is not ICU MessageFormat: ${(error as Error).message}`)
    }
  }
}
