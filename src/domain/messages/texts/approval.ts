import { CHANNELS, type Channel } from './kinds.ts'

/** A reviewer's yes: a role, never a name of a person, and a date. It holds only for the very words approved. */
export interface Approval {
  by: string
  on: string
}

/** Who approved these very words of a language, if anybody has. The answer changes as people approve. */
export type Approvals = (language: string, key: string, digest: string) => Approval | undefined

/** As Daysix comes: its texts are drafts until the site approves them. */
export const NOTHING_APPROVED: Approvals = () => undefined

/** Everything in one language that needs a reviewer's yes: key → digest of the words. */
export type Reviewables = ReadonlyMap<string, string>

/** What calls say around their message is approved as a whole, under this key; so is the patient's page. */
export const CALL_KEY = 'call'
export const PAGE_KEY = 'page'

/** The key under which a reviewer approves an answer, e.g. `answer.sex.avoid`. */
export function answerKey(topic: string, variant: string): string {
  return `answer.${topic}.${variant}`
}

/**
 * What of a language must be approved before it is sent: every kind of text message in both details, every answer, and
 * the page that texts point to; where a gateway carries calls or e-mail, also all that is spoken or written so.
 */
export function neededFor(reviewables: Reviewables, carried: ReadonlySet<Channel>): string[] {
  return [...reviewables.keys()].filter((key) => {
    const channel = channelOf(key)
    return channel === 'sms' || carried.has(channel)
  })
}

function channelOf(key: string): Channel {
  if (key === CALL_KEY) return 'voice'
  return CHANNELS.find((channel) => channel === key.split('.')[1]) ?? 'sms'
}

/** Keys of what is needed and not approved; none = the language may be sent. */
export function lackingIn(
  language: string,
  reviewables: Reviewables,
  approvals: Approvals,
  carried: ReadonlySet<Channel>,
): string[] {
  return neededFor(reviewables, carried).filter((key) => !approvals(language, key, reviewables.get(key)!))
}

/** Keys of a kind (`prep`), a kind on a channel (`prep.sms`) or one text (`prep.sms.full`); of an empty kind, all. */
export function keysOfKind(reviewables: Reviewables, kind: string): string[] {
  return [...reviewables.keys()].filter((key) => kind === '' || key === kind || key.startsWith(`${kind}.`))
}
