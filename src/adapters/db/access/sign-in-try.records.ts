import type { SignInTry, SignInTryRecords } from '../../../flows/ports/access.ts'
import type { Vault } from '../../vault/vault.ts'
import type { AccessDb } from '../connections.ts'

export function signInTryRecords(db: AccessDb, vault: Vault): SignInTryRecords {
  return {
    printOf: (what) => vault.fingerprint(`try ${what}`),
    lock: async (prints, now) => {
      // In one order everywhere, so that two who try at once wait for each other and not crosswise.
      const found = new Map<string, SignInTry>()
      for (const print of [...prints].sort()) {
        // One statement that locks the row whether it was there or not: it tells nothing by the time it takes.
        const row = await db
          .insertInto('sign_in_try')
          .values({ print, failures: 0, locked_until: null, at: now })
          .onConflict((conflict) => conflict.column('print').doUpdateSet({ print }))
          .returning(['failures', 'locked_until', 'at'])
          .executeTakeFirstOrThrow()
        found.set(print, { failures: row.failures, lockedUntil: row.locked_until, at: row.at })
      }
      return prints.map((print) => found.get(print)!)
    },
    put: async (print, { failures, lockedUntil, at }) => {
      await db
        .updateTable('sign_in_try')
        .set({ failures, locked_until: lockedUntil, at })
        .where('print', '=', print)
        .execute()
    },
    remove: async (prints) => {
      await db
        .deleteFrom('sign_in_try')
        .where('print', 'in', [...prints])
        .execute()
    },
    spend: async (print, now) => {
      const spent = await db
        .insertInto('sign_in_try')
        .values({ print, failures: 0, locked_until: null, at: now })
        .onConflict((conflict) => conflict.column('print').doNothing())
        .returning('print')
        .executeTakeFirst()
      return spent !== undefined
    },
    removeStale: async (before) => {
      const gone = await db.deleteFrom('sign_in_try').where('at', '<', before).returning('print').execute()
      return gone.length
    },
  }
}
