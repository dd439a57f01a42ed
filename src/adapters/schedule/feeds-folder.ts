import { readdir, readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { badInput, Failure } from '../../domain/failure.ts'
import type { Feed } from '../../domain/schedule/feed.ts'
import { readFeed, type Referred } from './feed-file.ts'

/**
 * Every feed, by name: as they are, or of the folder that describes them; none without one.
 * @throws Failure `bad-input` as `feedsOf`
 */
export async function feedsFrom(
  from: readonly Feed[] | string | undefined,
  wording: { protocols: ReadonlyMap<string, unknown>; reviewables: ReadonlyMap<string, unknown> },
): Promise<ReadonlyMap<string, Feed>> {
  if (typeof from !== 'string') return new Map(from?.map((feed) => [feed.name, feed]))
  const { protocols, reviewables } = wording
  return feedsOf(from, { protocols: new Set(protocols.keys()), languages: new Set(reviewables.keys()) })
}

/**
 * Every feed that a folder describes, by name.
 * @throws Failure `bad-input` where it cannot be read, or with the faults of all files, each by its name
 */
async function feedsOf(folder: string, known: Referred): Promise<Map<string, Feed>> {
  const files = await readdir(folder).catch(() =>
    badInput('feeds', `FEEDS_DIR: the folder ${folder} is not there, or cannot be read. Mend the name, or its rights.`),
  )
  const feeds = new Map<string, Feed>()
  const faults: string[] = []
  for (const file of files.filter((name) => /\.ya?ml$/.test(name)).sort()) {
    try {
      const feed = readFeed(await readFile(join(folder, file), 'utf8'), file, known)
      if (feeds.has(feed.name)) faults.push(`${file}, name: another file describes the feed ${feed.name} already.`)
      feeds.set(feed.name, feed)
    } catch (error) {
      if (!(error instanceof Failure)) throw error
      faults.push(error.detail.message)
    }
  }
  return faults.length === 0 ? feeds : badInput('feeds', faults.join('\n'))
}
