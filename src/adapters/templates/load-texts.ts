import { join } from 'node:path'
import * as z from 'zod'
import { NOTHING_APPROVED, type Approvals } from '../../domain/messages/texts/approval.ts'
import { MAILED_KINDS, TEXT_KINDS, type Channel, type TextKind } from '../../domain/messages/texts/kinds.ts'
import {
  MAIL_PARTS,
  READING_FORMULAS,
  textKey,
  VOICE_PARTS,
  type Language,
  type Text,
  type TextLibrary,
  type TextPart,
} from '../../domain/messages/texts/library.ts'
import { parseMessage, placeholders } from '../../domain/messages/texts/message.ts'
import { textFaults } from '../../domain/messages/texts/text-rules.ts'
import { digestOf } from './digest.ts'
import { Faults, foldersWith, readYaml, TEMPLATES } from './files.ts'

const words = z.string().min(1)
const namesOf = (count: number) =>
  z.strictObject({ short: z.array(words).length(count), long: z.array(words).length(count) })

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
    day: words,
  }),
  or: words,
  choice: z.strictObject({ sms: words, voice: words }),
  keywords: z.strictObject({ stop: words, start: words, help: words, started: words, notYet: words, undo: words }),
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
  voicemail: words,
})
const voiceFile = z.strictObject({
  defaults: voiceText.omit({ full: true }),
  texts: z.record(z.enum(TEXT_KINDS), voiceText.partial().required({ full: true })),
})
const mailText = z.strictObject({ subject: words, full: words, discreet: words, foot: words })
const mailFile = z.strictObject({
  defaults: mailText.omit({ full: true, discreet: true }),
  texts: z.record(z.enum(MAILED_KINDS), mailText.partial().required({ full: true, discreet: true })),
})
type TextsByKind = Record<string, { [part in TextPart]?: string | undefined }>

/** Where the texts of a channel stand. */
const FILES: Record<Channel, string> = { sms: 'sms', voice: 'voice', email: 'mail' }

/**
 * Reads every language under `folder` (default: the templates that come with Daysix).
 *
 * @throws Failure `bad-input` listing all faults of all files.
 */
export function loadTexts(folder: string = TEMPLATES, approvals: Approvals = NOTHING_APPROVED): TextLibrary {
  const faults = new Faults(folder)
  const languages = new Map<string, Language>()
  for (const code of foldersWith(folder, 'language.yaml')) {
    const language = loadLanguage(join(folder, code), approvals, faults)
    if (language) languages.set(language.code, language)
  }
  faults.throwIfAny()
  return { languages }
}

function loadLanguage(folder: string, approvals: Approvals, faults: Faults): Language | null {
  const head = readYaml(join(folder, 'language.yaml'), languageFile, faults)
  if (!head) return null
  const compile = compilerFor(head, approvals)
  const texts = [
    ...loadSms(folder, compile, faults),
    ...loadVoice(folder, compile, faults),
    ...loadMail(folder, compile, faults),
  ]
  const language = { ...head, texts: new Map(texts.map((text) => [textKey(text.kind, text.channel, text.part), text])) }
  for (const text of texts) {
    for (const fault of textFaults(text, language))
      faults.add(join(folder, `${FILES[text.channel]}.yaml`), `${text.kind}.${text.part}`, fault)
  }
  return language
}

function loadSms(folder: string, compile: Compile, faults: Faults): Text[] {
  const file = join(folder, 'sms.yaml')
  return textsOf(file, 'sms', readYaml(file, smsFile, faults) ?? {}, compile, faults)
}

function loadVoice(folder: string, compile: Compile, faults: Faults): Text[] {
  const file = join(folder, 'voice.yaml')
  const read = readYaml(file, voiceFile, faults)
  return read ? textsOf(file, 'voice', whole(read, VOICE_PARTS), compile, faults) : []
}

function loadMail(folder: string, compile: Compile, faults: Faults): Text[] {
  const file = join(folder, 'mail.yaml')
  const read = readYaml(file, mailFile, faults)
  return read ? textsOf(file, 'email', whole(read, MAIL_PARTS), compile, faults) : []
}

/** Every kind with the parts that it has of its own, else those of all kinds. */
function whole(
  { defaults, texts }: { defaults: object; texts: Record<string, object> },
  parts: readonly TextPart[],
): TextsByKind {
  const kinds = Object.entries(texts).map(([kind, own]) => {
    const all: TextsByKind[string] = { ...defaults, ...own }
    return [kind, Object.fromEntries(parts.map((part) => [part, all[part]]))]
  })
  return Object.fromEntries(kinds) as TextsByKind
}

function textsOf(file: string, channel: Channel, read: TextsByKind, compile: Compile, faults: Faults): Text[] {
  return Object.entries(read).flatMap(([kind, parts]) =>
    Object.entries(parts).flatMap(([part, words]) => {
      try {
        return words === undefined ? [] : [compile(kind as TextKind, channel, part as TextPart, words)]
      } catch (error) {
        faults.add(file, `${kind}.${part}`, `This is not ICU MessageFormat: ${(error as Error).message}`)
        return []
      }
    }),
  )
}

type Compile = (kind: TextKind, channel: Channel, part: TextPart, words: string) => Text

function compilerFor({ code, locale }: z.infer<typeof languageFile>, approvals: Approvals): Compile {
  return (kind, channel, part, words) => {
    const digest = digestOf(words)
    const message = parseMessage(words, locale)
    return {
      kind,
      channel,
      part,
      words,
      message,
      asks: placeholders(message),
      digest,
      // Asked for each time: it may be approved while the service runs.
      get approval() {
        return approvals(code, textKey(kind, channel, part), digest)
      },
    }
  }
}
