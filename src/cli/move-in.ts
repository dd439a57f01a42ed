import { writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { Command } from 'commander'
import { MOVED_MARK, openEmbedded } from '../adapters/db/embedded.ts'
import { moveIn, type Moved } from '../adapters/db/move-in.ts'
import { openServer } from '../adapters/db/server.ts'
import { openStore } from '../adapters/db/store.ts'
import { sealingKeys } from '../adapters/vault/key-file.ts'
import { createVault } from '../adapters/vault/vault.ts'
import { loadConfig, type Config } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { plainly } from './plainly.ts'

export function command(): Command {
  return new Command('move-in')
    .description(
      'Move everything from the embedded database (DATA_DIR) into an empty PostgreSQL database (DATABASE_URL). Stop the service first.',
    )
    .action(
      plainly(async () => {
        const config = loadConfig()
        const moved = await moveAll(config)
        for (const { table, rows } of moved) if (rows > 0) process.stdout.write(`${table.padEnd(16)} ${rows}\n`)
        process.stdout.write(
          'Moved, and both sides compared. Start the service with DATABASE_URL and the same key (DAYSIX_KEY, or sealing.key in DATA_DIR).\n',
        )
      }),
    )
}

async function moveAll({ databaseUrl, dataDir, key: setting }: Config): Promise<Moved[]> {
  if (!databaseUrl)
    throw new Failure('bad-config', {
      field: 'DATABASE_URL',
      message: 'Set DATABASE_URL to the PostgreSQL database to move into.',
    })
  const from = await openEmbedded(dataDir)
  const vault = createVault(await sealingKeys(setting, dataDir, async () => true))
  const to = await openServer(databaseUrl)
  try {
    // Both at the same tables.
    await openStore(from, vault)
    await openStore(to, vault)
    // Marked before it counts, and left marked when the end is unsure: two services with the same patients would be
    // worse than a folder to be unmarked by hand.
    return await moveIn(from, to, () =>
      writeFile(join(dataDir, MOVED_MARK), 'The data of this folder is in PostgreSQL now.\n'),
    )
  } finally {
    await from.close()
    await to.close()
  }
}
