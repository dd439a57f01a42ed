import { readFile } from 'node:fs/promises'
import { Command } from 'commander'
import { fromImage } from '../adapters/db/embedded.ts'
import { compose } from '../compose.ts'
import { loadConfig } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { settleRestored } from '../flows/settle-restored.ts'
import { refuseServer } from './backup.ts'
import { plainly } from './plainly.ts'

export function command(): Command {
  return new Command('restore')
    .description('Make the embedded database from a backup, in an empty data folder. What was due since the backup is not sent again, but goes on the call list.')
    .argument('[file]', 'a file written by `daysix backup`; none with PostgreSQL, after its own pg_restore')
    .action(
      plainly(async (file: string | undefined) => {
        const config = loadConfig()
        if (file) refuseServer(config, 'pg_restore --clean --if-exists --dbname="$DATABASE_URL" daysix.dump, then `daysix restore` without a file')
        else if (!config.databaseUrl) throw new Failure('bad-config', { field: 'file', message: 'Name the backup file to restore.' })
        if (file) await fromImage(config.dataDir, await readFile(file))
        const composed = await compose(config, { notice: () => {} })
        const due = await settleRestored(composed.deps)
        await composed.deps.queue.stop()
        await composed.close()
        process.stdout.write(`Restored. ${due} messages were due since the backup: they are not sent again, look at the call list.\n`)
      }),
    )
}
