import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { parse, stringify } from 'yaml'
import { badInput } from '../../domain/failure.ts'
import type { Approval } from '../../domain/texts/library.ts'
import { approvalsFile, digestOf, type ApprovalsFile } from './approvals.ts'
import { Faults, TEMPLATES } from './files.ts'
import { answerKey, loadAnswers } from './load-answers.ts'
import { CALL_KEY, loadCallPhrases } from './load-call.ts'
import { loadPageTexts, PAGE_KEY } from './load-page.ts'
import { loadTexts } from './load-texts.ts'

const HEADING = [
  ' What reviewers approved, by `npx daysix texts --approve`. Each line names a text and a digest of its very words:',
  ' edit the text, and it is a draft again until somebody approves the new words.',
].join('\n')

/** Everything in one language that needs a reviewer's yes: key → digest of the words. */
export function reviewables(language: string, folder: string = TEMPLATES): Map<string, string> {
  const library = loadTexts(folder)
  const texts = library.languages.get(language)
  if (!texts) return badInput('language', 'There are no texts in this language.')
  const faults = new Faults(folder)
  const answers = loadAnswers(folder, faults).find(({ code }) => code === language)
  faults.throwIfAny()
  return new Map([
    ...[...texts.texts].map(([key, { digest }]): [string, string] => [key, digest]),
    ...Object.entries(answers?.topics ?? {}).flatMap(([topic, { rule: _, ...sentences }]) =>
      Object.entries(sentences).map(([variant, words = '']): [string, string] => [answerKey(topic, variant), digestOf(words)]),
    ),
    [PAGE_KEY, loadPageTexts(folder).get(language)!.digest],
    [CALL_KEY, loadCallPhrases(library, folder).get(language)!.digest],
  ])
}

/**
 * Records that a reviewer approves the texts of a language as they are now.
 *
 * @param only keys that begin with this, e.g. `prep.`; missing = all.
 * @returns how many texts the approval covers.
 */
export function approve(language: string, approval: Approval, only = '', folder: string = TEMPLATES): number {
  const current = reviewables(language, folder)
  const chosen = [...current].filter(([key]) => key.startsWith(only))
  if (chosen.length === 0) badInput('kind', 'No text begins with this. Give a kind, e.g. prep, or answer.')
  const file = join(folder, language, 'approvals.yaml')
  const kept = readApprovals(file).map((entry) => ({ ...entry, texts: stillTrue(entry.texts, current, new Map(chosen)) }))
  const entries = [...kept, { ...approval, texts: Object.fromEntries(chosen) }].filter(
    ({ texts }) => Object.keys(texts).length > 0,
  )
  writeFileSync(file, `${HEADING.replace(/^/gm, '#')}\n${stringify(entries)}`)
  return chosen.length
}

function readApprovals(file: string): ApprovalsFile {
  return existsSync(file) ? approvalsFile.parse(parse(readFileSync(file, 'utf8')) ?? []) : []
}

/** Earlier approvals, without those of words that have changed since, and without those given again now. */
function stillTrue(
  texts: Record<string, string>,
  current: Map<string, string>,
  again: Map<string, string>,
): Record<string, string> {
  return Object.fromEntries(Object.entries(texts).filter(([key, digest]) => current.get(key) === digest && !again.has(key)))
}
