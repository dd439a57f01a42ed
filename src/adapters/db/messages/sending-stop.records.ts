import type { SendingStop, SendingStopRecords } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import { sealedField, UNREADABLE } from '../sealed-field.ts'
import type { SendingStopTable } from '../access/access.tables.ts'
import type { AccessDb } from '../connections.ts'

type Sealed = Pick<SendingStop, 'by' | 'why'>

const fieldOf = (vault: Vault) => sealedField<Sealed>(vault, 'sending-stop')
/** It stops, whoever threw it. */
const unreadable = (): Sealed => ({ by: UNREADABLE, why: UNREADABLE })

function toStop({ scope, at, sealed }: SendingStopTable, vault: Vault): SendingStop {
  return { scope, at, ...fieldOf(vault).open(sealed, [scope], unreadable) }
}

export function sendingStopRecords(db: AccessDb, vault: Vault): SendingStopRecords {
  return {
    list: async () =>
      (await db.selectFrom('sending_stop').selectAll().orderBy('scope').execute()).map((row) => toStop(row, vault)),
    put: async ({ scope, at, by, why }) => {
      const row = { scope, at, sealed: fieldOf(vault).seal({ by, why }, scope) }
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
