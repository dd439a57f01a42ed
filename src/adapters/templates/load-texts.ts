import { createHash } from 'node:crypto'
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { TEXT_KINDS, type Channel, type TextKind } from '../../domain/texts/kinds.ts'
import { READING_FORMULAS, textKey, type Approval, type Language, type Text, type TextLibrary, type TextPart } from '../../domain/texts/library.ts'
import { parseMessage } from '../../domain/texts/message.ts'
import { Faults, foldersWith, readYaml, TEMPLATES } from './files.ts'

const words = z.string().min(1)
const namesOf = (count: number) => z.strictObject({ short: z.array(words).length(count), long: z.array(words).length(count) })

const languageFile = z.strictObject({
  code: words,
  name: words,
  locale: words,
  direction: z.enum(['ltr', 'rtl']),
  reading: z.enum(READING_FORMULAS),
  budget: z.strictObject({ encoding: z.enum(['GSM-7', 'UCS-2']), segments: z.int().min(1) }),
  dates: z.strictObject({
    weekdays: namesOf(7),
    months: namesOf(12),
    periods: z.array(z.strictObject({ from: z.int().min(0).max(23), short: words, long: words })),
    sms: words,
    voice: words,
  }),
  or: words,
  choice: z.strictObject({ sms: words, voice: words }),
  keywords: z.strictObject({ stop: words, start: words, help: words, started: words, notYet: words }),
  rules: z.record(z.string(), z.strictObject({ short: words, long: words })),
  telling: z.array(words),
  never: z.array(words),
})

// A record over an enum asks for every kind.
const smsFile = z.record(z.enum(TEXT_KINDS), z.strictObject({ full: words, discreet: words }))
const voiceText = z.strictObject({
  full: words,
  discreet: words,
  greeting: words,
  menu: words,
  'discreet-menu': words,
  voicemail: words,
})
const voiceFile = z.strictObject({
  defaults: voiceText.omit({ full: true }),
  texts: z.record(z.enum(TEXT_KINDS), voiceText.partial().required({ full: true })),
})
const approvalsFile = z.array(
  z.strictObject({ by: words, on: z.iso.date(), texts: z.record(z.string(), z.string().regex(/^[0-9a-f]{12}$/)) }),
)

/** Approvals by text key and digest. */
type Approvals = Map<string, Approval>

/**
 * Reads every language under `folder` (default: the templates that come with Daysix).
 *
 * @throws Failure `bad-input` listing all faults of all files.
 */
export function loadTexts(folder: string = TEMPLATES): TextLibrary {
  const faults = new Faults(folder)
  const languages = new Map<string, Language>()
  for (const code of foldersWith(folder, 'language.yaml')) {
    const language = loadLanguage(join(folder, code), faults)
    if (language) languages.set(language.code, language)
  }
  faults.throwIfAny()
  return { languages }
}

function loadLanguage(folder: string, faults: Faults): Language | null {
  const head = readYaml(join(folder, 'language.yaml'), languageFile, faults)
  if (!head) return null
  const approvals = loadApprovals(join(folder, 'approvals.yaml'), faults)
  const texts = [...loadSms(folder, head.locale, approvals, faults), ...loadVoice(folder, head.locale, approvals, faults)]
  return { ...head, texts: new Map(texts.map((text) => [textKey(text.kind, text.channel, text.part), text])) }
}

function loadSms(folder: string, locale: string, approvals: Approvals, faults: Faults): Text[] {
  const file = join(folder, 'sms.yaml')
  return textsOf(file, 'sms', readYaml(file, smsFile, faults) ?? {}, locale, approvals, faults)
}

function loadVoice(folder: string, locale: string, approvals: Approvals, faults: Faults): Text[] {
  const file = join(folder, 'voice.yaml')
  const read = readYaml(file, voiceFile, faults)
  if (!read) return []
  const whole = Object.fromEntries(Object.entries(read.texts).map(([kind, parts]) => [kind, { ...read.defaults, ...parts }]))
  return textsOf(file, 'voice', whole, locale, approvals, faults)
}

function textsOf(
  file: string,
  channel: Channel,
  read: Partial<Record<string, Partial<Record<TextPart, string>>>>,
  locale: string,
  approvals: Approvals,
  faults: Faults,
): Text[] {
  return Object.entries(read).flatMap(([kind, parts]) =>
    Object.entries(parts ?? {}).flatMap(([part, words]) => {
      try {
        return [compile(kind as TextKind, channel, part as TextPart, words, locale, approvals)]
      } catch (error) {
        faults.add(file, `${kind}.${part}`, `This is not ICU MessageFormat: ${(error as Error).message}`)
        return []
      }
    }),
  )
}

function compile(kind: TextKind, channel: Channel, part: TextPart, words: string, locale: string, approvals: Approvals): Text {
  const digest = digestOf(words)
  const approval = approvals.get(`${textKey(kind, channel, part)} ${digest}`)
  return { kind, channel, part, words, message: parseMessage(words, locale), digest, ...(approval && { approval }) }
}

/** Twelve hex digits that change with the words: an edited text falls back to draft by itself. */
export function digestOf(words: string): string {
  return createHash('sha256').update(words.trim()).digest('hex').slice(0, 12)
}

function loadApprovals(file: string, faults: Faults): Approvals {
  if (!existsSync(file)) return new Map()
  const read = readYaml(file, approvalsFile, faults) ?? []
  return new Map(read.flatMap(({ by, on, texts }) => Object.entries(texts).map(([key, digest]) => [`${key} ${digest}`, { by, on }])))
}
