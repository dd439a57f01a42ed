import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { Command } from 'commander'
import { checkMigration, type MigrationCheck, type Overlap } from '../adapters/db/visits/overlaps.ts'
import { systemClock } from '../adapters/clock/clocks.ts'
import { compose } from '../compose.ts'
import { loadConfig } from '../config.ts'
import { withOffset } from '../domain/local-time.ts'
import { plainly } from './plainly.ts'
import { withDatabase } from './with-store.ts'

export function command(): Command {
  return new Command('migrate')
    .description('Bring the tables up to date, before the new version is started. Forward only; starting does it too.')
    .option('--check', 'change nothing: say what is pending, and list visits that overlap at one clinician')
    .action(plainly(({ check }: { check?: boolean }) => (check ? sayPending() : bringUpToDate())))
}

async function bringUpToDate(): Promise<void> {
  const composed = await compose(loadConfig(), { notice: () => {} })
  process.stdout.write(`The tables are up to date (${composed.database.kind}).\n`)
  await composed.deps.queue.stop()
  await composed.close()
}

async function sayPending(): Promise<void> {
  const config = loadConfig()
  const isThere = config.databaseUrl !== undefined || existsSync(join(config.dataDir, 'postgres'))
  const lines = isThere
    ? linesOf(await withDatabase(config, (database) => checkMigration(database, systemClock.now())))
    : ['There is no database yet: the first start makes it.']
  process.stdout.write(`${lines.join('\n')}\n`)
}

/** What an operator reads: what is pending, then one line for each two visits that overlap. */
export function linesOf({ pending, willKeep, overlaps }: MigrationCheck): string[] {
  const first = pending.length === 0 ? 'The tables are up to date.' : `Pending: ${pending.join(', ')}.`
  const fate = willKeep ? 'that the migration will keep as overbooked' : 'to come that are overbooked'
  const pairs = overlaps.length === 1 ? 'pair' : 'pairs'
  return [
    first,
    `${overlaps.length} ${pairs} of visits ${fate}${overlaps.length > 0 ? ':' : '.'}`,
    ...overlaps.map(line),
  ]
}

function line({ clinicId, clinician, zone, first, second }: Overlap): string {
  const who = clinician === '' ? clinicId : `${clinicId}, ${clinician}`
  const [one, two] = [first, second].map(({ bookingId, at }) => `${withOffset(at, zone)} (${bookingId})`)
  return `${who}: ${one} and ${two}`
}
