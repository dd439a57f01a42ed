import { join } from 'node:path'
import * as z from 'zod'
import { CALL_KEY, NOTHING_APPROVED, type Approvals } from '../../domain/messages/texts/approval.ts'
import { parseMessage, placeholders } from '../../domain/messages/texts/message.ts'
import type { Language, TextLibrary } from '../../domain/messages/texts/library.ts'
import { badWords } from '../../domain/messages/texts/text-rules.ts'
import { KEY_PHRASES, PERIOD_PHRASES } from '../../domain/messages/voice/menu.ts'
import type { CallPhrases } from '../../domain/messages/voice/phrases.ts'
import { digestOf } from './digest.ts'
import { Faults, readYaml, TEMPLATES } from './files.ts'

const words = z.string().min(1)
/** A phrase that forgets its key would leave the patient guessing. */
const keyPhrase = words.includes('{key}', 'It must say {key}.')
const each = <K extends string>(names: readonly K[]) =>
  z.strictObject(Object.fromEntries(names.map((name) => [name, keyPhrase])) as Record<K, typeof keyPhrase>)

const callFile = z.strictObject({
  keys: each(KEY_PHRASES),
  period: each(PERIOD_PHRASES).extend({ when: words }),
  says: z.strictObject({
    noted: words,
    person: words,
    stopped: words,
    wrongNumber: words,
    notAKey: words,
    goodbye: words,
  }),
})
type CallFile = z.infer<typeof callFile>

const VALUES = ['key', 'clinic']

/**
 * Reads `call.yaml` of every language of the library.
 *
 * @throws Failure `bad-input` listing all faults of all files.
 */
export function loadCallPhrases(
  library: TextLibrary,
  folder: string = TEMPLATES,
  approvals: Approvals = NOTHING_APPROVED,
): Map<string, CallPhrases> {
  const faults = new Faults(folder)
  const found = new Map<string, CallPhrases>()
  for (const language of library.languages.values()) {
    const file = join(folder, language.code, 'call.yaml')
    const read = readYaml(file, callFile, faults)
    if (!read) continue
    check(read, language, (where, message) => faults.add(file, where, message))
    const digest = digestOf(JSON.stringify(read))
    found.set(language.code, {
      ...read,
      digest,
      get state() {
        return approvals(language.code, CALL_KEY, digest) ? 'approved' : 'draft'
      },
    })
  }
  faults.throwIfAny()
  return found
}

function check(file: CallFile, language: Language, fault: (where: string, message: string) => void): void {
  for (const [group, phrases] of Object.entries(file)) {
    for (const [name, phrase] of Object.entries(phrases)) {
      for (const message of faultsOf(phrase, group !== 'period', language)) fault(`${group}.${name}`, message)
    }
  }
}

/** @param byAnybody heard before or without the full message, so it may not tell what the visit is for. */
function faultsOf(phrase: string, byAnybody: boolean, { locale, never, telling }: Language): string[] {
  try {
    const asked = [...placeholders(parseMessage(phrase, locale))]
    return [
      ...asked.filter((name) => !VALUES.includes(name)).map((name) => `There is no value {${name}}.`),
      ...badWords(phrase, never).map((word) => `It speaks of a result or a diagnosis: “${word}”.`),
      ...(byAnybody ? badWords(phrase, telling) : []).map((word) => `A call may not say “${word}” to just anybody.`),
    ]
  } catch (error) {
    return [`This is not ICU MessageFormat: ${(error as Error).message}`]
  }
}
