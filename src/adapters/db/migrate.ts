import { Failure } from '../../domain/failure.ts'
import { runMigrations } from 'bullmq'
import { Kysely, Migrator, PostgresDialect } from 'kysely'
import { QUEUE_SCHEMA, SCHEMA, type Database } from './pool.ts'
import * as first from './migrations/0001-first.ts'
import * as deskSearch from './migrations/0002-desk-search.ts'
import * as workers from './migrations/0003-workers.ts'
import * as access from './migrations/0004-access.ts'
import * as planBasis from './migrations/0005-plan-basis.ts'
import * as growth from './migrations/0006-growth.ts'
import * as words from './migrations/0007-words.ts'
import * as clinicPatients from './migrations/0008-clinic-patients.ts'
import * as sendingStop from './migrations/0009-sending-stop.ts'
import * as textApprovals from './migrations/0010-text-approvals.ts'
import * as whatRepliesDid from './migrations/0011-what-replies-did.ts'
import * as whoseWords from './migrations/0012-whose-words.ts'
import * as asked from './migrations/0013-asked.ts'
import * as purpose from './migrations/0014-purpose.ts'
import * as outcome from './migrations/0015-outcome.ts'
import * as gathered from './migrations/0016-gathered.ts'
import * as duration from './migrations/0017-duration.ts'
import * as retentionMarks from './migrations/0018-retention-marks.ts'
import * as consentUntil from './migrations/0019-consent-until.ts'
import * as signsOfLife from './migrations/0020-signs-of-life.ts'
import * as boundSeals from './migrations/0021-bound-seals.ts'
import * as signInTries from './migrations/0022-sign-in-tries.ts'
import * as parts from './migrations/0023-parts.ts'
import * as confirms from './migrations/0024-confirms.ts'
import * as email from './migrations/0025-email.ts'
import * as operating from './migrations/0026-operating.ts'
import * as figures from './migrations/0027-figures.ts'
import * as nearMisses from './migrations/0028-near-misses.ts'
import * as feeds from './migrations/0029-feeds.ts'

/** Every migration, in order. Forward only: a mistake is mended by the next one. */
const MIGRATIONS = {
  '0001-first': first,
  '0002-desk-search': deskSearch,
  '0003-workers': workers,
  '0004-access': access,
  '0005-plan-basis': planBasis,
  '0006-growth': growth,
  '0007-words': words,
  '0008-clinic-patients': clinicPatients,
  '0009-sending-stop': sendingStop,
  '0010-text-approvals': textApprovals,
  '0011-what-replies-did': whatRepliesDid,
  '0012-whose-words': whoseWords,
  '0013-asked': asked,
  '0014-purpose': purpose,
  '0015-outcome': outcome,
  '0016-gathered': gathered,
  '0017-duration': duration,
  '0018-retention-marks': retentionMarks,
  '0019-consent-until': consentUntil,
  '0020-signs-of-life': signsOfLife,
  '0021-bound-seals': boundSeals,
  '0022-sign-in-tries': signInTries,
  '0023-parts': parts,
  '0024-confirms': confirms,
  '0025-email': email,
  '0026-operating': operating,
  '0027-figures': figures,
  '0028-near-misses': nearMisses,
  '0029-feeds': feeds,
}

/**
 * Brings our schema and the queue's up to date. Safe to call from several processes at once.
 * @param to the last migration to make; all of them without it
 * @returns the migrations that were made
 */
export async function migrate(database: Database, to?: keyof typeof MIGRATIONS): Promise<string[]> {
  if (database.migrated || (await newerHasBeen(database))) return []
  await database.records.query(`create schema if not exists ${SCHEMA}`)
  const migrator = migratorOf(database)
  const { error, results = [] } = to ? await migrator.migrateTo(to) : await migrator.migrateToLatest()
  if (error) throw error
  await migrateQueue(database)
  return results.map(({ migrationName }) => migrationName)
}

/** The migrations that this database has not had, in order. Changes nothing. */
export async function pendingMigrations(database: Database): Promise<string[]> {
  if (database.migrated) return []
  const known = await migratorOf(database).getMigrations()
  return known.filter(({ executedAt }) => executedAt === undefined).map(({ name }) => name)
}

/** Every migration that this version knows, in order. */
export const knownMigrations = (): string[] => Object.keys(MIGRATIONS).sort()

/**
 * A newer version has been at these tables. This one goes on with them, and leaves them as they are, where nothing was
 * taken away that it needs: while a new version comes into use, processes of the one before may still be started.
 * @returns whether a newer version has been there. @throws bad-config where this version can do nothing with them
 */
async function newerHasBeen({ records }: Database): Promise<boolean> {
  const { rows: there } = await records.query(
    `select to_regclass('${SCHEMA}.kysely_migration') is not null as made, to_regclass('${SCHEMA}.schema_floor') is not null as floor`,
  )
  if (there[0]!.made !== true) return false
  const { rows } = await records.query(`select name from ${SCHEMA}.kysely_migration order by name`)
  const unknown = rows.map(({ name }) => String(name)).filter((name) => !(name in MIGRATIONS))
  if (unknown.length === 0) return false
  const { rows: floors } =
    there[0]!.floor === true ? await records.query(`select needs from ${SCHEMA}.schema_floor`) : { rows: [] }
  if (floors[0] && String(floors[0].needs) in MIGRATIONS) return true
  throw new Failure('bad-config', {
    field: 'DATABASE_URL',
    message: `These tables were made by a newer version of Daysix (${unknown.at(-1)}), and this one cannot go on with them. Start that version, or a newer one.`,
  })
}

function migratorOf(database: Database): Migrator {
  const db = new Kysely({ dialect: new PostgresDialect({ pool: database.records as never }) })
  return new Migrator({ db, provider: { getMigrations: async () => MIGRATIONS }, migrationTableSchema: SCHEMA })
}

async function migrateQueue(database: Database): Promise<void> {
  const client = await database.queue.connect()
  try {
    await runMigrations(client as never, QUEUE_SCHEMA)
  } finally {
    client.release()
  }
}
