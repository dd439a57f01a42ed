import type { Feed } from '../../domain/schedule/feed.ts'
import { Failure } from '../../domain/failure.ts'
import type { Deps } from '../ports/deps.ts'

/** A feed as the site describes it, with the codes that somebody at the desk has said since. @throws not-found */
export async function describedFeed({ feeds, store }: Deps, name: string): Promise<Feed> {
  const feed = feeds.get(name)
  if (!feed)
    throw new Failure('not-found', {
      field: 'feed',
      message: `No feed "${name}" is described in FEEDS_DIR. Described: ${[...feeds.keys()].join(', ') || 'none'}.`,
    })
  const codes = (await store.read.feeds.codes()).filter((each) => each.feed === name)
  const told = (part: 'clinics' | 'languages') =>
    Object.fromEntries(codes.filter((each) => each.part === part).map(({ code, ours }) => [code, ours]))
  return {
    ...feed,
    clinics: { ...feed.clinics, ...told('clinics') },
    languages: { ...feed.languages, ...told('languages') },
  }
}
