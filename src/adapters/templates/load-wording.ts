import type { FullProtocol } from '../../domain/preparation/protocol.ts'
import {
  answerKey,
  CALL_KEY,
  NOTHING_APPROVED,
  PAGE_KEY,
  type Approvals,
  type Reviewables,
} from '../../domain/messages/texts/approval.ts'
import type { TextLibrary } from '../../domain/messages/texts/library.ts'
import type { CallPhrases } from '../../domain/messages/voice/phrases.ts'
import { digestOf } from './digest.ts'
import { Faults, TEMPLATES } from './files.ts'
import { loadAnswers, type LanguageAnswers } from './load-answers.ts'
import { loadCallPhrases } from './load-call.ts'
import { loadPageTexts, type PageTexts } from './load-page.ts'
import { loadProtocols } from './load-protocols.ts'
import { loadTexts } from './load-texts.ts'

/** Everything that patients read or hear, and what a reviewer says yes to. */
export interface Wording {
  library: TextLibrary
  phrases: ReadonlyMap<string, CallPhrases>
  pages: ReadonlyMap<string, PageTexts>
  protocols: ReadonlyMap<string, FullProtocol>
  /** By language. */
  reviewables: ReadonlyMap<string, Reviewables>
}

interface Sources {
  /** Where nothing else is said, the templates that come with Daysix. */
  folder?: string
  siteFolder?: string | undefined
}

/**
 * Reads all templates.
 *
 * @param approvals asked for the state of a text whenever it is needed, so what is approved meanwhile counts at once
 * @throws Failure `bad-input` listing all faults of a kind of file.
 */
export function loadWording(
  approvals: Approvals = NOTHING_APPROVED,
  { folder = TEMPLATES, siteFolder }: Sources = {},
): Wording {
  const library = loadTexts(folder, approvals)
  const phrases = loadCallPhrases(library, folder, approvals)
  const pages = loadPageTexts(folder, approvals)
  const protocols = loadProtocols(folder, siteFolder, approvals)
  return { library, phrases, pages, protocols, reviewables: reviewablesOf(library, phrases, pages, folder) }
}

function reviewablesOf(
  { languages }: TextLibrary,
  phrases: Wording['phrases'],
  pages: Wording['pages'],
  folder: string,
): Map<string, Reviewables> {
  const faults = new Faults(folder)
  const answers = loadAnswers(folder, faults)
  faults.throwIfAny()
  const one = (code: string): Reviewables =>
    new Map([
      ...[...languages.get(code)!.texts].map(([key, { digest }]): Digest => [key, digest]),
      ...answers.filter((each) => each.code === code).flatMap(({ topics }) => answerDigests(topics)),
      [PAGE_KEY, pages.get(code)!.digest],
      [CALL_KEY, phrases.get(code)!.digest],
    ])
  return new Map([...languages.keys()].map((code) => [code, one(code)]))
}

type Digest = [key: string, digest: string]

function answerDigests(topics: LanguageAnswers['topics']): Digest[] {
  return Object.entries(topics).flatMap(([topic, { rule: _, ...sentences }]) =>
    Object.entries(sentences).map(([variant, words = '']): Digest => [answerKey(topic, variant), digestOf(words)]),
  )
}
