import { Command } from 'commander'
import { checkBackup } from '../adapters/backup/check-backup.ts'
import { backUpEmbedded, backUpServer } from '../adapters/backup/make-backup.ts'
import { openImage } from '../adapters/db/embedded.ts'
import { systemClock } from '../adapters/clock/clocks.ts'
import { loadConfig, type Config } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { plainly } from './plainly.ts'
import { withDatabase } from './with-store.ts'

export function command(): Command {
  return new Command('backup')
    .description(
      'Write the database into a file: the embedded one while the service is stopped (BACKUP_DIR makes backups while it runs), PostgreSQL by its own pg_dump. The sealing key is not in it: keep that elsewhere.',
    )
    .argument('<file>', 'new file to write, e.g. daysix-2026-03-09.backup; with --check, one to look into')
    .option('--check', 'write nothing: say whether this backup is whole, and what is in it')
    .action(plainly((file: string, { check }: { check?: boolean }) => (check ? sayWhatIsIn(file) : make(file))))
}

async function make(file: string): Promise<void> {
  const config = loadConfig()
  const bytes = await writeNew(config, file)
  process.stdout.write(
    `Wrote ${file} (${Math.ceil(bytes / 1024)} KiB). Keep the sealing key elsewhere: without it the file cannot be read.\n`,
  )
}

async function writeNew(config: Config, file: string): Promise<number> {
  const { databaseUrl } = config
  const now = systemClock.now()
  try {
    return await withDatabase(config, (database) =>
      databaseUrl ? backUpServer(database, databaseUrl, file, now) : backUpEmbedded(database, file, now),
    )
  } catch (error) {
    const message = REFUSALS[(error as { code?: string }).code ?? '']
    throw message === undefined
      ? error
      : new Failure('bad-config', { field: 'file', message: `${file}: ${message}` }, error)
  }
}

/** Of what the system says of a file to be written. */
const REFUSALS: Record<string, string | undefined> = {
  EEXIST: 'this file is there already. Name a new one: a backup is never written over another.',
  ENOENT: 'its folder is not there. Make it first.',
  EACCES: 'nothing may be written there. Check who owns the folder.',
  EISDIR: 'this is a folder. Name a file in it.',
  ENOSPC: 'the disk is full. Make room, or name a file on another one.',
}

async function sayWhatIsIn(file: string): Promise<void> {
  const { madeAt, migrations, rows } = await checkBackup(file, openImage)
  const counts = Object.entries(rows).filter(([, count]) => count > 0)
  process.stdout.write(
    [
      `${file} is whole${madeAt === null ? '; it is of an older version and has no checksum, so its rows were counted' : `; made at ${madeAt}`}.`,
      `Tables as of ${migrations.at(-1) ?? 'no migration'}.`,
      ...counts.map(([table, count]) => `${table.padEnd(16)} ${count}`),
      '',
    ].join('\n'),
  )
}
