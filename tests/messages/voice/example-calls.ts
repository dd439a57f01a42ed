import { loadCallPhrases } from '../../../src/adapters/templates/load-call.ts'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import type { TextKind, TextValues } from '../../../src/domain/messages/texts/kinds.ts'
import type { CallScript } from '../../../src/domain/messages/voice/call-script.ts'
import { callWriter, type ScriptRequest } from '../../../src/domain/messages/voice/write-script.ts'

export const library = loadTexts()
export const writer = callWriter(library, loadCallPhrases(library))

/** An invented clinic with a number reserved for fiction. */
export const VALUES: TextValues = {
  clinic: 'Harbour Clinic',
  clinicPhone: '+1 613 555 0142',
  zone: 'America/Halifax',
  visit: new Date('2026-03-20T13:30:00Z'),
  mark: new Date('2026-03-18T13:30:00Z'),
  choices: [new Date('2026-03-26T13:00:00Z'), new Date('2026-03-27T18:20:00Z'), new Date('2026-03-30T12:00:00Z')],
  answer: 'A bath is fine.',
  page: 'https://clinic.example/v/x',
}

/** The call of one message. */
export function call(kind: TextKind, changes: Partial<ScriptRequest> = {}): CallScript {
  return writer.script({ kind, language: 'en', detail: 'full', values: VALUES, ...changes }).script
}
