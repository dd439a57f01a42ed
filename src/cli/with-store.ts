import { existsSync } from 'node:fs'
import { connectionTo } from '../adapters/db/connection.ts'
import { openEmbedded } from '../adapters/db/embedded.ts'
import type { Database } from '../adapters/db/pool.ts'
import { approvalRecords } from '../adapters/db/messages/approval.records.ts'
import { hasSealedData } from '../adapters/db/reseal.ts'
import { openServer } from '../adapters/db/server.ts'
import { openStore } from '../adapters/db/store.ts'
import { sealingKeys } from '../adapters/vault/key-file.ts'
import { createVault } from '../adapters/vault/vault.ts'
import { loadConfig, type Config } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { NOTHING_APPROVED, type Approvals } from '../domain/messages/texts/approval.ts'
import { ApprovalBook } from '../flows/messages/approved-texts.ts'
import type { Store } from '../flows/ports/deps.ts'

/** Opens the database as it is, for one piece of work. */
export async function withDatabase<T>(
  { databaseUrl, dataDir }: Config,
  work: (database: Database) => Promise<T>,
): Promise<T> {
  const database = await (databaseUrl ? openServer(databaseUrl) : openEmbedded(dataDir))
  try {
    return await work(database)
  } finally {
    await database.close()
  }
}

/** Opens the database with its tables up to date, and nothing else of the service, for one piece of work. */
export function withStore<T>(work: (store: Store) => Promise<T>): Promise<T> {
  const config = loadConfig()
  return withDatabase(config, async (database) => {
    const vault = createVault(await sealingKeys(config.key, config.dataDir, () => hasSealedData(database)))
    return work(await openStore(database, vault))
  })
}

const NO_SUCH_TABLE = '42P01'

/**
 * What the site has approved, where there is a database; it is only read. Null while a running service has the embedded
 * one to itself.
 */
export async function approvalsAtHand(): Promise<Approvals | null> {
  const config = loadConfig()
  if (!config.databaseUrl && !existsSync(config.dataDir)) return NOTHING_APPROVED
  try {
    return await withDatabase(config, approvalsIn)
  } catch (error) {
    if (error instanceof Failure && error.code === 'data-folder-in-use') return null
    // Made by an older version, or by none yet.
    if ((error as { code?: unknown }).code === NO_SUCH_TABLE) return NOTHING_APPROVED
    throw error
  }
}

async function approvalsIn(database: Database): Promise<Approvals> {
  const book = new ApprovalBook(approvalRecords(connectionTo(database.records)))
  await book.refresh()
  return book.approvals
}
