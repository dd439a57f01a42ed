import type { Approvals } from '../../src/domain/messages/texts/approval.ts'
import { approveTexts } from '../../src/flows/messages/approved-texts.ts'
import type { Composed } from '../../src/compose.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'

/** An invented role, as a site would name its own. */
export const REVIEWER = { by: 'Nurse educator of the tests', on: '2026-02-01' }

/** As if a reviewer had approved everything in these languages. */
export const approvedIn =
  (...languages: string[]): Approvals =>
  (language) =>
    languages.includes(language) ? REVIEWER : undefined

/** A reviewer approves everything in these languages, as on the desk's page. */
export async function approveLanguages({ store, approvedTexts, clock }: Deps, ...languages: string[]): Promise<void> {
  for (const language of languages) {
    await approveTexts(store, approvedTexts.reviewables, { ...REVIEWER, language, kind: '' }, clock.now())
  }
  await approvedTexts.refresh()
}

/** From now on only these languages are approved, e.g. because the words of the others are new. */
export async function approveOnly({ deps, database }: Composed, ...languages: string[]): Promise<void> {
  await database.records.query('delete from daysix.text_approval')
  await approveLanguages(deps, ...languages)
  await deps.approvedTexts.refresh()
}
