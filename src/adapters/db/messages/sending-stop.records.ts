import type { SendingStop, SendingStopRecords } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import type { SendingStopTable } from '../access/access.tables.ts'
import type { AccessDb } from '../connections.ts'

type Sealed = Pick<SendingStop, 'by' | 'why'>

function toStop({ scope, at, sealed }: SendingStopTable, vault: Vault): SendingStop {
  return { scope, at, ...(JSON.parse(vault.open(sealed)) as Sealed) }
}

export function sendingStopRecords(db: AccessDb, vault: Vault): SendingStopRecords {
  return {
    list: async () =>
      (await db.selectFrom('sending_stop').selectAll().orderBy('scope').execute()).map((row) => toStop(row, vault)),
    put: async ({ scope, at, by, why }) => {
      const row = { scope, at, sealed: vault.seal(JSON.stringify({ by, why } satisfies Sealed)) }
      const added = await db
        .insertInto('sending_stop')
        .values(row)
        .onConflict((on) => on.column('scope').doNothing())
        .returning('scope')
        .executeTakeFirst()
      return added !== undefined
    },
    remove: async (scope) =>
      (await db.deleteFrom('sending_stop').where('scope', '=', scope).returning('scope').executeTakeFirst()) !==
      undefined,
  }
}
