import { readdir, readFile, rename, stat } from 'node:fs/promises'
import { join } from 'node:path'
import type { CheckLine } from '../../domain/schedule/check-line.ts'
import type { MessageRead } from '../../domain/schedule/feed.ts'
import { takeNews } from '../../flows/schedule/take-news.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import { makeFolder } from '../faults/make-folder.ts'
import { writeWhole } from '../whole-file.ts'
import { startRhythm } from '../worker/rhythm.ts'
import { toPerson, CODE } from './read-context.ts'
import { resultFile, resultLines } from './result-file.ts'
import { readTold } from './take-bytes.ts'

export interface Watched {
  feed: string
  folder: string
}

const LOOK_MS = 5_000
const LARGEST = 16 * 1024 * 1024
/** Names under which programs write before they are done. */
const UNFINISHED = /^[.~]|\.(part|partial|tmp|temp|filepart|crdownload)$/i

/**
 * Takes files that appear in a folder. Each is moved to `done`, or to `failed` where nothing of it could be read, with
 * a list of the rows that are to be mended beside it.
 * @returns how to stop: a file that is being taken is finished
 */
export function startWatching(
  deps: Deps,
  watched: Watched,
  onError: (error: Error) => void,
  everyMs = LOOK_MS,
): () => Promise<void> {
  const seen = new FilesSeen()
  return startRhythm(everyMs, () => takeFolder(deps, watched, seen), saidOnce(onError))
}

/** The same trouble every few seconds is told once. */
function saidOnce(onError: (error: Error) => void): (error: Error) => void {
  let last = ''
  return (error) => {
    if (error.message !== last) onError(error)
    last = error.message
  }
}

/** What the last look found: a file is taken when it stands still, and once. */
export class FilesSeen {
  readonly standing = new Map<string, string>()
  /** Taken, and not moved yet: where to. */
  readonly taken = new Map<string, { mark: string; to: string }>()
}

/** One look: every file that has not grown since the last look, in the order of their names. */
export async function takeFolder(deps: Deps, watched: Watched, seen: FilesSeen): Promise<void> {
  const { folder } = watched
  const names = (await readdir(folder, { withFileTypes: true }))
    .filter((each) => each.isFile() && !UNFINISHED.test(each.name))
    .map(({ name }) => name)
    .sort()
  const before = new Map(seen.standing)
  seen.standing.clear()
  for (const name of names) seen.standing.set(name, await markOf(join(folder, name)))
  for (const name of names) {
    const mark = seen.standing.get(name)!
    // Those behind it wait: what was written later must not be taken before.
    if (before.get(name) !== mark) return
    await takeFile(deps, watched, seen, { name, mark })
  }
}

async function markOf(path: string): Promise<string> {
  const { size, mtimeMs } = await stat(path)
  return `${size} ${mtimeMs}`
}

async function takeFile(
  deps: Deps,
  { feed, folder }: Watched,
  { taken }: FilesSeen,
  { name, mark }: { name: string; mark: string },
): Promise<void> {
  const path = join(folder, name)
  if (taken.get(name)?.mark !== mark) {
    const { reads, lines } = await takeOne(deps, feed, path, name)
    const into = join(folder, reads.every((read) => 'ack' in read) ? 'failed' : 'done')
    const to = join(into, await freeName(into, name, deps.clock.now()))
    taken.set(name, { mark, to })
    await writeWhole(`${to}.result.csv`, resultFile(resultLines(lines, reads)))
  }
  await rename(path, taken.get(name)!.to)
  taken.delete(name)
}

async function takeOne(
  deps: Deps,
  feed: string,
  path: string,
  name: string,
): Promise<{ reads: MessageRead[]; lines: CheckLine[] }> {
  const { size } = await stat(path)
  const reads = size > LARGEST ? [TOO_LARGE] : await readTold(deps, feed, { bytes: await readFile(path), name })
  return { reads, lines: await takeNews(deps, feed, reads) }
}

const TOO_LARGE = toPerson(CODE.value, '', 'The file is larger than 16 MB. Send fewer days at once.')

/** A file of the same name may have come before. */
async function freeName(folder: string, name: string, now: Date): Promise<string> {
  await makeFolder(folder)
  const there = await readdir(folder)
  if (!there.includes(name)) return name
  return `${now.toISOString().replaceAll(/[:.]/g, '-')}-${name}`
}
