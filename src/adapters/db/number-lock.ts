import { prepared, type PreparedStatement } from './prepared-statements.ts'

/**
 * Until the transaction ends nobody else decides about these numbers. Locked in one order by everybody, so that nobody waits
 * in a circle.
 * @param prints a query for the numbers' look-up keys
 */
export function numberLock(prints: string): PreparedStatement {
  return prepared(`select pg_advisory_xact_lock(key) from (
    select distinct hashtextextended(print, 0) as key from (${prints}) as numbers (print) order by key offset 0
  ) as ordered`)
}
