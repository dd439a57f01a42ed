import { execFileSync } from 'node:child_process'
import { join } from 'node:path'
import { espeak } from '../../../src/adapters/gateways/speech/espeak.ts'
import { writeWave } from '../../../src/adapters/gateways/speech/wave.ts'

/** What somebody who answers is heard saying, in order: words, a pause, or what sox makes (`synth` and its effects). */
export type Part = { words: string } | { seconds: number } | { synth: string[] }

let made = 0

/** Writes it down for SIPp. @returns a file, headerless µ-law. */
export async function recording(folder: string, parts: Part[]): Promise<string> {
  const name = join(folder, `recording-${++made}`)
  const files: string[] = []
  for (const part of parts) files.push(await partOf(part, `${name}-${files.length}.wav`))
  execFileSync('sox', [...files, '-t', 'ul', `${name}.ul`])
  return `${name}.ul`
}

async function partOf(part: Part, file: string): Promise<string> {
  if ('words' in part)
    return writeWave(file, [await espeak().speak(part.words, { language: 'en', locale: 'en-CA' })], 0)
  if ('seconds' in part) return writeWave(file, [], part.seconds)
  execFileSync('sox', ['-n', '-r', '8000', '-c', '1', '-b', '16', file, 'synth', ...part.synth])
  return file
}
