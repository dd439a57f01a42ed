import type { ApprovedTexts } from '../ports/approved-texts.ts'
import { badInput } from '../../domain/failure.ts'
import {
  keysOfKind,
  lackingIn,
  type Approval,
  type Approvals,
  type Reviewables,
} from '../../domain/messages/texts/approval.ts'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import type { ApprovalRecords, Store } from '../ports/deps.ts'

/** The approvals of the database, by what they hold for. */
export class ApprovalBook {
  readonly #records: Pick<ApprovalRecords, 'all'>
  /** Another one after each refresh. */
  known: ReadonlyMap<string, Approval> = new Map()

  constructor(records: Pick<ApprovalRecords, 'all'>) {
    this.#records = records
  }

  readonly approvals: Approvals = (language, key, digest) => this.known.get(`${language} ${key} ${digest}`)

  async refresh(): Promise<void> {
    const all = await this.#records.all()
    this.known = new Map(all.map(({ language, key, digest, by, on }) => [`${language} ${key} ${digest}`, { by, on }]))
  }
}

interface Needs {
  reviewables: ReadonlyMap<string, Reviewables>
  /** Channels of the gateways: what is said by them must be approved. */
  carried: ReadonlySet<Channel>
  allowDrafts: boolean
}

/** Which languages may be sent, by what has been approved. */
export function approvedTexts(book: ApprovalBook, { reviewables, carried, allowDrafts }: Needs): ApprovedTexts {
  const lacking = (language: string) =>
    lackingIn(language, reviewables.get(language) ?? new Map(), book.approvals, carried)
  const find = () => [...reviewables.keys()].filter((language) => allowDrafts || lacking(language).length === 0)
  // Asked for each booking and each message: found once after each refresh.
  let found = { by: book.known, languages: find() }
  const sendable = () => {
    if (found.by !== book.known) found = { by: book.known, languages: find() }
    return found.languages
  }
  return { approvals: book.approvals, refresh: () => book.refresh(), reviewables, lacking, sendable }
}

export interface Review extends Approval {
  language: string
  /** `prep`, `answer`, `page` or `call`, a kind on a channel (`prep.sms`) or one text; empty = the whole language. */
  kind: string
}

/**
 * Records that a reviewer approves texts as they are now.
 *
 * @returns how many the approval covers.
 * @throws Failure `bad-input` for a language or kind that there is not.
 */
export async function approveTexts(
  store: Pick<Store, 'transact'>,
  reviewables: ReadonlyMap<string, Reviewables>,
  { language, kind, by, on }: Review,
  at: Date,
): Promise<number> {
  const words = reviewables.get(language) ?? badInput('language', 'There are no texts in this language.')
  const keys = keysOfKind(words, kind)
  if (keys.length === 0) badInput('kind', 'There is no text of this kind. Give prep, answer or page, or none for all.')
  const approvals = keys.map((key) => ({ language, key, digest: words.get(key)!, by, on }))
  await store.transact((tx) => tx.approvals.put(approvals, at))
  return approvals.length
}

/** False until the site has approved the texts of a language: nothing is claimed, and the pages say so. */
export function anythingGoesOut({ sendable }: Pick<ApprovedTexts, 'sendable'>): boolean {
  return sendable().length > 0
}

/** Languages that a patient may choose from. While nothing goes out at all, any: messages wait for an approval. */
export function languagesOnOffer(texts: Pick<ApprovedTexts, 'sendable' | 'reviewables'>): readonly string[] {
  return anythingGoesOut(texts) ? texts.sendable() : [...texts.reviewables.keys()]
}

/** @throws Failure `bad-input` for a language that may not be sent. A region is ignored (`fr-CA` → `fr`). */
export function refuseUnsendable(texts: ApprovedTexts, language: string): void {
  const offered = languagesOnOffer(texts)
  if (offered.includes(language) || offered.includes(language.split('-')[0]!)) return
  badInput('patient.language', `There are no approved texts in this language. Use one of: ${offered.join(', ')}.`)
}
