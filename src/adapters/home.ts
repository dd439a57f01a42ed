import { readFileSync } from 'node:fs'
import type { Clock, Home } from '../flows/ports/deps.ts'
import { dataRoom } from './db/data-room.ts'
import type { Database } from './db/pool.ts'

export const { version } = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as {
  version: string
}

/** @param folder of the embedded database; null where it is in memory */
export function homeOf(database: Database, folder: string | null, clock: Clock): Home {
  return { version, since: clock.now(), room: () => dataRoom(database, folder) }
}
