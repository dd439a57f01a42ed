import type { Connection } from './connection.ts'
import type { Tables } from './tables.ts'
import type { AllTables } from './access/access.tables.ts'

export type Db = Connection<Tables>

export type AccessDb = Connection<AllTables>
