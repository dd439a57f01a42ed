import { readdir, readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { badInput, Failure } from '../../domain/failure.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { readFeedFile, type DescribedFeed, type FeedSources, type Referred } from './feed-file.ts'

/** What the site describes, by the feeds' names. */
export interface Described {
  feeds: ReadonlyMap<string, Feed>
  sources: ReadonlyMap<string, FeedSources>
}

/**
 * Every feed, by name: as they are, or of the folder that describes them; none without one.
 * @throws Failure `bad-input` as `feedsOf`
 */
export async function feedsFrom(
  from: readonly Feed[] | string | undefined,
  wording: { protocols: ReadonlyMap<string, unknown>; reviewables: ReadonlyMap<string, unknown> },
): Promise<Described> {
  if (typeof from !== 'string') return { feeds: new Map(from?.map((feed) => [feed.name, feed])), sources: new Map() }
  const { protocols, reviewables } = wording
  const known = { protocols: new Set(protocols.keys()), languages: new Set(reviewables.keys()) }
  const all = [...(await feedsOf(from, known))]
  return {
    feeds: new Map(all.map(([name, { feed }]) => [name, feed])),
    sources: new Map(all.map(([name, { sources }]) => [name, sources])),
  }
}

/**
 * Every feed that a folder describes, by name.
 * @throws Failure `bad-input` where it cannot be read, or with the faults of all files, each by its name
 */
async function feedsOf(folder: string, known: Referred): Promise<Map<string, DescribedFeed>> {
  const files = await readdir(folder).catch(() =>
    badInput('feeds', `FEEDS_DIR: the folder ${folder} is not there, or cannot be read. Mend the name, or its rights.`),
  )
  const feeds = new Map<string, DescribedFeed>()
  const faults: string[] = []
  for (const file of files.filter((name) => /\.ya?ml$/.test(name)).sort()) {
    try {
      const described = readFeedFile(await readFile(join(folder, file), 'utf8'), file, known)
      const { name } = described.feed
      if (feeds.has(name)) faults.push(`${file}, name: another file describes the feed ${name} already.`)
      feeds.set(name, described)
    } catch (error) {
      if (!(error instanceof Failure)) throw error
      faults.push(error.detail.message)
    }
  }
  return faults.length === 0 ? feeds : badInput('feeds', faults.join('\n'))
}
