import { join } from 'node:path'
import * as z from 'zod'
import { Faults, foldersWith, readYaml, TEMPLATES } from './files.ts'

/** What stands for a word where espeak-ng would say it wrong: another spelling, or phonemes in its own `[[…]]`. */
export type Spoken = Readonly<Record<string, string>>

const spokenFile = z.record(
  z.string(),
  z.string().regex(/^([^[\]<>&]+|\[\[[^[\]<>&]+\]\])$/, 'Write words, or [[phonemes]].'),
)

/** Reads `spoken.yaml` of every language that has one. @throws Failure `bad-input` with every fault. */
export function loadSpoken(folder = TEMPLATES): ReadonlyMap<string, Spoken> {
  const faults = new Faults(folder)
  const spoken = new Map<string, Spoken>()
  for (const language of foldersWith(folder, 'spoken.yaml'))
    spoken.set(language, readYaml(join(folder, language, 'spoken.yaml'), spokenFile, faults) ?? {})
  faults.throwIfAny()
  return spoken
}
