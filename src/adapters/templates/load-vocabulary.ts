import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parse } from 'yaml'
import * as z from 'zod'
import { badInput, Failure } from '../../domain/failure.ts'
import { compileVocabulary } from '../../domain/replies/compile-vocabulary.ts'
import type { Vocabulary } from '../../domain/replies/vocabulary.ts'
import type { VocabularySource } from '../../domain/replies/vocabulary-source.ts'

const TEMPLATES = fileURLToPath(new URL('../../../templates', import.meta.url))

// YAML reads a bare `no`, `1` or `2026-01-01` as no string; a vocabulary means the word as written.
// A list may also be written as one text with semicolons, which needs no quotation marks.
const words = z.union([
  z.array(z.union([z.string(), z.number()]).transform(String)),
  z.string().transform((text) =>
    text
      .split(';')
      .map((entry) => entry.trim())
      .filter((entry) => entry !== ''),
  ),
])
const lists = z.record(z.string(), words).default({})
const values = z.record(z.string(), z.int()).default({})
const file = z.strictObject({
  common: z.string().default(''),
  spellings: lists,
  tolerate: words.default([]),
  classes: lists,
  numbers: values,
  ordinals: values,
  weekdays: values,
  months: words.default([]),
  days: lists,
  topics: lists,
  phrases: lists,
  whole: lists,
  quoted: lists,
})

/**
 * The product's own, once it has been read: nothing changes it, and compiling it is a third of composing the service.
 */
let ownVocabulary: Vocabulary | undefined

/**
 * Reads `<folder>/<language>/replies.yaml` of every language; the product's own only once in a process.
 *
 * @param folder the templates folder; the product's own by default.
 * @throws Failure `bad-input` naming file, place and remedy when a file cannot be used, or when there is none.
 */
export function loadVocabulary(folder: string = TEMPLATES): Vocabulary {
  if (folder !== TEMPLATES) return compileVocabulary(readVocabularyFiles(folder))
  return (ownVocabulary ??= compileVocabulary(readVocabularyFiles(folder)))
}

/** The vocabulary files of all languages, checked for their form. Same errors as `loadVocabulary`. */
export function readVocabularyFiles(folder: string = TEMPLATES): VocabularySource[] {
  const languages = readdirSync(folder).filter((language) => existsSync(join(folder, language, 'replies.yaml')))
  if (languages.length === 0) badInput('templates', 'No language has a replies.yaml. Put one in templates/<language>/.')
  return languages.sort().map((language) => readFile(folder, language))
}

function readFile(folder: string, language: string): VocabularySource {
  const name = `${language}/replies.yaml`
  try {
    return { language, ...file.parse(parse(readFileSync(join(folder, language, 'replies.yaml'), 'utf8'))) }
  } catch (error) {
    if (error instanceof Failure) throw error
    if (!(error instanceof z.ZodError))
      return badInput(name, `This file is not valid YAML: ${(error as Error).message.split('\n')[0]}`)
    const first = error.issues[0]!
    return badInput(name, `At "${first.path.join('.')}": ${first.message}. A list of words or patterns belongs there.`)
  }
}
