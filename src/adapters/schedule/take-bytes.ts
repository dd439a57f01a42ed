import type { CheckLine } from '../../domain/schedule/check-line.ts'
import type { Whole } from '../../domain/schedule/completeness.ts'
import type { MessageRead } from '../../domain/schedule/feed.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import { describedFeed } from '../../flows/schedule/described-feed.ts'
import { takeNews } from '../../flows/schedule/take-news.ts'
import { readFileOf } from './read-any.ts'
import type { ReadContext } from './read-context.ts'

/** Bytes of a schedule, whatever form they are in, with the name of their file, or of whoever sent them. */
export interface Told {
  bytes: Uint8Array
  name: string
  /** Times of which they are said to hold every visit. */
  whole?: Whole | undefined
}

/**
 * Takes what a schedule's file or message says.
 * @returns a line for each message, resource, row or event
 * @throws not-found where the site describes no such feed; an error of the database: then it is to be sent again
 */
export async function takeBytes(deps: Deps, name: string, told: Told): Promise<CheckLine[]> {
  return takeNews(deps, name, await readTold(deps, name, told), told.whole)
}

/** What is in it, one answer for each message, resource, row or event. @throws not-found where there is no such feed */
export async function readTold(deps: Deps, name: string, told: Told): Promise<MessageRead[]> {
  const feed = await describedFeed(deps, name)
  return readFileOf(told.bytes, told.name, feed, await contextOf(deps, told.name))
}

/** What readers are told beside the words themselves: above all the zones of our clinics. */
export async function contextOf({ store, clock }: Deps, sender: string, base = ''): Promise<ReadContext> {
  const clinics = await store.read.clinics.list()
  return { sender, base, now: clock.now(), zones: Object.fromEntries(clinics.map(({ id, zone }) => [id, zone])) }
}
