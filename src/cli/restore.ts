import { Command } from 'commander'
import { readBackup, refuseIncomplete, refuseNewer } from '../adapters/backup/backup-file.ts'
import { contentOf } from '../adapters/backup/check-backup.ts'
import { inside } from '../adapters/backup/rows-in.ts'
import { fromImage } from '../adapters/db/embedded.ts'
import { knownMigrations } from '../adapters/db/migrate.ts'
import { refuseOtherKey } from '../adapters/db/reseal.ts'
import { sealingKeys } from '../adapters/vault/key-file.ts'
import { createVault } from '../adapters/vault/vault.ts'
import { compose, type Overrides } from '../compose.ts'
import { loadConfig, type Config } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { settleRestored } from '../flows/messages/settle-restored.ts'
import { plainly } from './plainly.ts'

export function command(): Command {
  return new Command('restore')
    .description(
      'Make the embedded database from a backup, in an empty data folder that holds the sealing key (or with DAYSIX_KEY set). What was due since the backup is not sent again, but goes on the call list. Wholly or not at all.',
    )
    .argument('[file]', 'a file written by `daysix backup`; none with PostgreSQL, after its own pg_restore')
    .action(
      plainly(async (file: string | undefined) => {
        const config = loadConfig()
        const due = file ? await restoreFile(config, file) : await settleServer(config)
        process.stdout.write(
          `Restored. ${due} messages were due since the backup: they are not sent again, look at the call list.\n`,
        )
      }),
    )
}

async function restoreFile(config: Config, file: string): Promise<number> {
  refuseServer(config)
  const { about, image } = readBackup(await contentOf(file))
  // Whatever can be known beforehand is, so that nothing has to be taken back.
  if (about) refuseNewer(about, knownMigrations())
  const vault = createVault(await sealingKeys(config.key, config.dataDir, async () => true))
  refuseOtherKey(about?.keyPrint ?? null, vault)
  return fromImage(config.dataDir, image, {
    examine: async (records) => {
      const found = await inside(records)
      if (about) refuseIncomplete(about, found.rows)
      else refuseNewer(found, knownMigrations())
    },
    finish: (aside) => settle({ ...config, dataDir: aside }, { vault }),
  })
}

/** A server has its own, better tools. @throws bad-config naming the one to use */
function refuseServer({ databaseUrl }: Config): void {
  if (databaseUrl)
    throw new Failure('bad-config', {
      field: 'DATABASE_URL',
      message:
        'The data is in PostgreSQL: use its own tools, e.g. pg_restore --clean --if-exists --dbname="$DATABASE_URL" daysix.dump, then `daysix restore` without a file',
    })
}

async function settleServer(config: Config): Promise<number> {
  if (!config.databaseUrl)
    throw new Failure('bad-config', { field: 'file', message: 'Name the backup file to restore.' })
  return settle(config, {})
}

async function settle(config: Config, overrides: Overrides): Promise<number> {
  const { deps, close } = await compose(config, { ...overrides, notice: () => {} })
  const due = await settleRestored(deps)
  await deps.queue.stop()
  await close()
  return due
}
