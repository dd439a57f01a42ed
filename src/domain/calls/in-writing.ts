/** What a call says, as it is said in writing; see `inWriting`. The longest first. */
const REPLACED: readonly [RegExp, string][] = [
  [/\bcall your local emergency number\b/g, 'reach your local emergency service'],
  [/\bCall (the patient|you)\b/g, 'Write to $1'],
  [/\bcall (the patient|you)\b/g, 'write to $1'],
  [/\bby telephone\b/g, 'in writing'],
  [/\bspeak with you\b/g, 'write to you'],
  [/\byou speak\b/g, 'you write'],
  [/\bcalling\b/g, 'writing'],
  [/\bcall\b/g, 'write'],
  [/\bCall\b/g, 'Write'],
]

/** The words of a reason to call for a patient who does not hear a call: they say to write instead. */
export function inWriting(words: string): string {
  return REPLACED.reduce((text, [said, written]) => text.replaceAll(said, written), words)
}
