import { statfs } from 'node:fs/promises'
import type { DataRoom } from '../../flows/ports/deps.ts'
import type { Database } from './pool.ts'

/**
 * How much room there is for the data, or how much they take on a server, whose disk is not ours to see.
 * @param folder of the embedded database; null where it is in memory
 */
export async function dataRoom(database: Database, folder: string | null): Promise<DataRoom> {
  if (database.kind === 'postgres') {
    const { rows } = await database.records.query('select pg_database_size(current_database()) as bytes')
    return { kind: 'server', bytes: Number(rows[0]!.bytes) }
  }
  if (folder === null) return null
  const { bavail, blocks, bsize } = await statfs(folder)
  return { kind: 'disk', free: bavail * bsize, size: blocks * bsize }
}
