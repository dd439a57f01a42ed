import { writeSync } from 'node:fs'
import { PGlite, type PGliteOptions } from '@electric-sql/pglite'
import { btree_gist } from '@electric-sql/pglite/contrib/btree_gist'
import { Failure } from '../../domain/failure.ts'

/** PostgreSQL's words when it ends, not only a statement. They name files and causes, never values. */
const LAST_WORDS = /\b(?:FATAL|PANIC): +(.*)/
/** What Emscripten, which PGlite is built with, says as the last thing of all. */
const ENDED = /^Aborted\(/

/**
 * Starts PGlite, and ends this process when PostgreSQL in it gives up, as it does when its log cannot be written
 * because the disk is full. PGlite would ask a session that is dead for ever, within one call, so that not even a
 * signal would be heard. Whoever keeps the service running starts it again; what was committed is there.
 *
 * @throws database-away with PostgreSQL's own words when it does not start.
 */
export async function startPglite(options: PGliteOptions): Promise<PGlite> {
  let lastWords = 'it gives no reason'
  const onStderr = (line: string) => {
    lastWords = LAST_WORDS.exec(line)?.[1] ?? lastWords
    if (ENDED.test(line)) endAtOnce(lastWords)
    return false
  }
  try {
    return await PGlite.create({ ...options, extensions: { btree_gist }, onStderr })
  } catch (error) {
    throw new Failure(
      'database-away',
      { field: 'DATA_DIR', message: `The database in the data folder does not start: ${lastWords}` },
      error,
    )
  }
}

/** As by `kill -9`: what is still in memory must not be written by a session that is dead. */
function endAtOnce(lastWords: string): void {
  try {
    writeSync(
      process.stderr.fd,
      `The embedded database has given up: ${lastWords}. The process ends, to be started again.\n`,
    )
  } finally {
    process.kill(process.pid, 'SIGKILL')
  }
}
