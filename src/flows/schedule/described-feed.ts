import type { Feed } from '../../domain/schedule/feed.ts'
import { Failure } from '../../domain/failure.ts'
import type { Deps } from '../ports/deps.ts'
import type { FeedCode } from '../ports/schedule.ts'

/** A feed as the site describes it, with the codes that somebody at the desk has said since. @throws not-found */
export async function describedFeed({ feeds, store }: Deps, name: string): Promise<Feed> {
  const feed = feeds.get(name)
  if (!feed)
    throw new Failure('not-found', {
      field: 'feed',
      message: `No feed "${name}" is described in FEEDS_DIR. Described: ${[...feeds.keys()].join(', ') || 'none'}.`,
    })
  return withCodes(feed, await store.read.feeds.codes())
}

/** Every feed that names a clinic of ours as one of its places, with the codes that were said since. */
export async function feedsOfClinic({ feeds, store }: Deps, clinicId: string): Promise<Feed[]> {
  if (feeds.size === 0) return []
  const codes = await store.read.feeds.codes()
  return [...feeds.values()]
    .map((feed) => withCodes(feed, codes))
    .filter(({ clinics }) => Object.values(clinics).includes(clinicId))
}

function withCodes(feed: Feed, all: readonly FeedCode[]): Feed {
  const codes = all.filter((each) => each.feed === feed.name)
  const told = (part: FeedCode['part']) =>
    Object.fromEntries(codes.filter((each) => each.part === part).map(({ code, ours }) => [code, ours]))
  return {
    ...feed,
    clinics: { ...feed.clinics, ...told('clinics') },
    languages: { ...feed.languages, ...told('languages') },
  }
}
