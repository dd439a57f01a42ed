import { readdir, rm } from 'node:fs/promises'
import { join } from 'node:path'
import type { Logger } from 'pino'
import { makeFolder } from '../faults/make-folder.ts'
import { SCHEMA, type Database } from '../db/pool.ts'
import { backUpEmbedded, backUpServer, ENDINGS, factsBeside } from './make-backup.ts'

export interface Schedule {
  folder: string
  everyHours: number
  /** How many are kept. */
  keep: number
  databaseUrl: string | undefined
}

/** A run that was begun and not heard of for so long was cut off. */
const CUT_OFF_HOURS = 8

/**
 * Makes a backup where one is due, and takes away the oldest beyond those kept. Several processes may ask: one of them
 * does it. What came of it is kept (`backup_run`), for the service page.
 * @returns the file; undefined where none is due
 */
export async function backUpWhenDue(
  { database, log }: { database: Database; log: Logger },
  schedule: Schedule,
  now: Date,
): Promise<string | undefined> {
  const begun = await begin(database, schedule, now)
  if (!begun) return undefined
  const file = join(schedule.folder, nameOf(now, database.kind))
  try {
    await makeFolder(schedule.folder)
    const bytes = await (schedule.databaseUrl
      ? backUpServer(database, schedule.databaseUrl, file, now)
      : backUpEmbedded(database, file, now))
    await rotate(schedule, database.kind)
    await end(database, now, 'done', bytes, null)
    log.info({ bytes }, 'backup made')
    return file
  } catch (error) {
    const { code, message } = error as { code?: string; message: string }
    await end(database, now, 'failed', null, code === 'bad-config' ? message : (code ?? 'unknown'))
    throw error
  }
}

/** Its time in its name, so that names sort by age: `daysix-20260309T130000Z.backup`. */
export const nameOf = (at: Date, kind: Database['kind']): string =>
  `daysix-${at.toISOString().replace(/[-:]|\.\d+/g, '')}${ENDINGS[kind]}`

const OURS = /^daysix-\d{8}T\d{6}Z\.(?:backup|dump)$/

/** Which of the files are beyond those kept: ours alone, the oldest. */
export const beyond = (names: readonly string[], keep: number): string[] =>
  names
    .filter((name) => OURS.test(name))
    .sort()
    .slice(0, -keep)

async function rotate({ folder, keep }: Schedule, kind: Database['kind']): Promise<void> {
  const names = (await readdir(folder)).filter((name) => name.endsWith(ENDINGS[kind]))
  for (const name of beyond(names, keep)) {
    await rm(join(folder, name), { force: true })
    await rm(factsBeside(join(folder, name)), { force: true })
  }
}

/** Only one comes first; a failed one is tried again an hour later. */
async function begin({ records }: Database, { everyHours }: Schedule, now: Date): Promise<boolean> {
  const { rowCount } = await records.query(
    `insert into ${SCHEMA}.backup_run (at, outcome)
     select $1::timestamptz, 'begun' where not exists (select from ${SCHEMA}.backup_run
       where outcome = 'done' and at > $1::timestamptz - make_interval(hours => $2)
         or outcome = 'begun' and at > $1::timestamptz - make_interval(hours => ${CUT_OFF_HOURS})
         or outcome = 'failed' and at > $1::timestamptz - interval '55 minutes')
     on conflict do nothing`,
    [now, everyHours],
  )
  return rowCount > 0
}

async function end({ records }: Database, at: Date, outcome: string, bytes: number | null, detail: string | null) {
  await records.query(`update ${SCHEMA}.backup_run set outcome = $2, bytes = $3, detail = $4 where at = $1`, [
    at,
    outcome,
    bytes,
    detail,
  ])
  await records.query(`delete from ${SCHEMA}.backup_run where at < $1::timestamptz - interval '60 days'`, [at])
}
