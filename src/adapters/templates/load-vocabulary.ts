import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parse } from 'yaml'
import { z } from 'zod'
import { badInput, Failure } from '../../domain/failure.ts'
import { compileVocabulary, type Vocabulary, type VocabularySource } from '../../domain/replies/vocabulary.ts'

const TEMPLATES = fileURLToPath(new URL('../../../templates', import.meta.url))

const patterns = z.record(z.string(), z.array(z.coerce.string()))
const file = z.strictObject({
  spellings: patterns.default({}),
  classes: patterns.default({}),
  phrases: patterns.default({}),
  whole: patterns.default({}),
})

/**
 * Reads `<folder>/<language>/replies.yaml` of every language, once, at the start.
 *
 * @param folder the templates folder; the product's own by default.
 * @throws Failure `bad-input` naming file and place when a file cannot be used.
 */
export function loadVocabulary(folder: string = TEMPLATES): Vocabulary {
  const languages = readdirSync(folder).filter((language) => existsSync(join(folder, language, 'replies.yaml')))
  return compileVocabulary(languages.sort().map((language) => readFile(folder, language)))
}

function readFile(folder: string, language: string): VocabularySource {
  const path = join(language, 'replies.yaml')
  try {
    return { language, ...file.parse(parse(readFileSync(join(folder, path), 'utf8'))) }
  } catch (error) {
    if (error instanceof Failure) throw error
    return badInput(path, `This vocabulary file cannot be used: ${(error as Error).message}`)
  }
}
